"""A sensor stuck at one value for hours: left out, and asked about."""

import numpy as np
import pandas as pd
import pytest

from miner.records import read_client
from miner.records.check.sensor import STUCK


def readings(folder, hours: float, value: float | None, decimals: int = 0, every: int = 5):
    """Two days of a walk, with one value held from 10:00 of the second day on."""
    rng = np.random.default_rng(7)
    times = pd.date_range("2026-03-02", periods=2 * 24 * 60 // every, freq=f"{every}min")
    walk = 120 + np.cumsum(rng.normal(0, 3, len(times)))
    walk = np.round(80 + np.abs((walk - 80) % 160 - 80), decimals)
    begins = pd.Timestamp("2026-03-03T10:00")
    held = (times >= begins) & (times <= begins + pd.Timedelta(hours=hours))
    if value is not None:
        walk[held] = value
    rows = [f"{at:%Y-%m-%dT%H:%M},{each:g}" for at, each in zip(times, walk, strict=True)]
    return read_client(folder.glucose(*rows).path), int(held.sum())


def told(client):
    return [item for item in client.findings if item.code == "stuck_value"]


@pytest.mark.parametrize("every", [5, 15])
def test_one_value_for_hours_is_left_out_and_asked_about(folder, every):
    client, held = readings(folder, 4, 117, every=every)
    (item,) = told(client)
    assert (item.severity, item.count, item.days) == ("question", held - 1, ("2026-03-03",))
    assert (client.streams["glucose"]["left_out"] == STUCK).sum() == held - 1


@pytest.mark.parametrize(("hours", "value"), [(2.5, 117), (4, 300), (4, 40), (4, None)])
def test_shorter_runs_and_the_ends_of_the_sensor_s_range_are_no_fault(folder, hours, value):
    assert not told(readings(folder, hours, value)[0])


def test_readings_rounded_so_far_that_they_repeat_are_not_judged(folder):
    assert not told(readings(folder, 5, 120, decimals=-2)[0])


def test_the_longest_run_of_the_open_records_is_no_fault(folder):
    """105 minutes at 3.4 mmol/L every 15 minutes, in one of four people's records."""
    assert not told(readings(folder, 1.75, 61, every=15)[0])
