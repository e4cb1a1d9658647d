"""Lengths of time as trackers write them: in words, and with colons."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from miner.records import read_client
from miner.records.read.cells import in_words, lengths
from miner.steps.mapping import map_file


def texts(*cells: str) -> pd.Series:
    return pd.Series(list(cells), dtype="str")


@pytest.mark.parametrize(
    ("cell", "minutes"),
    [
        ("1h 20m", 80), ("7 h 5 min", 425), ("7h5m", 425), ("45 min", 45),
        ("1 hour 30 minutes", 90),
        ("7 hrs", 420), ("1.5 h", 90), ("1,5 Std", 90), ("90 s", 1.5), ("7:05:30", 425.5),
        ("2 hours, 3 mins", 123), ("0h 0m", 0),
    ],
)  # fmt: skip
def test_lengths_that_tell_their_units(cell, minutes):
    assert in_words(texts(cell)).tolist() == [minutes]


@pytest.mark.parametrize("cell", ["", "h", "7:05", "7", "soup 5 min", "5 m later", "7:65:00"])
def test_what_tells_no_length(cell):
    assert np.isnan(in_words(texts(cell))).all()


@given(st.integers(0, 99), st.integers(0, 59), st.integers(0, 59))
def test_python_s_own_sum_of_hours_minutes_and_seconds(h, m, s):
    whole = pd.Timedelta(hours=h, minutes=m, seconds=s) / pd.Timedelta(minutes=1)
    cells = texts(f"{h}:{m:02d}:{s:02d}", f"{h} h {m} min {s} s", f"{h}h{m}m{s}s")
    np.testing.assert_allclose(lengths(cells, None), whole)
    np.testing.assert_allclose(lengths(cells, "h") * 60, whole)


def test_a_colon_alone_is_read_by_the_unit_that_is_declared():
    """7:05 is 7 h 5 min, or 7 min 5 s; without a unit it is neither."""
    np.testing.assert_allclose(lengths(texts("7:05"), "h"), 425 / 60)
    np.testing.assert_allclose(lengths(texts("7:05"), "min"), 425 / 60)
    assert np.isnan(lengths(texts("7:05"), None)).all()


@pytest.mark.parametrize(
    ("asleep", "deep", "units"),
    [("7:05", "1:20", {"deep_min": "h", "asleep_min": "h"}), ("7 h 5 min", "1h 20m", {}),
     ("7:05:00", "80 min", {})],
)  # fmt: skip
def test_time_asleep_is_mapped_and_read_as_it_is_meant(folder, asleep, deep, units):
    folder.steady_glucose("2026-03-01", 24 * 9)
    rows = "".join(
        f"2026-03-{day:02d} 23:10;2026-03-{day + 1:02d} 07:10;{asleep};{deep}\n"
        for day in range(1, 9)
    )
    folder.write("nights.csv", f"bedtime;got up;time asleep;deep sleep\n{rows}")
    proposal = map_file(folder.path / "nights.csv", write=True).proposals[0]
    assert proposal.entry.get("units", {}) == units
    assert {key: value for key, value, _ in proposal.sample[0].values} == {
        "asleep_min": "425",
        "deep_min": "80",
    }
    frame = read_client(folder.path).used("sleep")
    np.testing.assert_allclose(frame["asleep_min"], 425)
    np.testing.assert_allclose(frame["deep_min"], 80)


def test_without_a_declared_unit_a_colon_is_asked_about(folder):
    folder.steady_glucose("2026-03-01", 24 * 3)
    row = "2026-03-01T23:10,2026-03-02T07:10,7:05,1h 5m\n"
    folder.write("sleep.csv", f"start,end,asleep_min,deep_min\n{row}")
    client = read_client(folder.path)
    (told,) = [item for item in client.findings if "'asleep_min' that cannot be read" in item.what]
    assert (told.severity, 'asleep_min = "h"' in told.do) == ("question", True)
    assert client.used("sleep")["deep_min"].tolist() == [65]


def test_a_date_beside_a_bedtime_and_a_time_asleep_is_put_to_the_bedtime(folder):
    folder.steady_glucose("2026-03-01", 24 * 9)
    rows = "".join(f"2026-03-{day:02d};23:10;7:05;0:40\n" for day in range(1, 9))
    folder.write("nights.csv", f"date;bedtime;time asleep;time awake\n{rows}")
    map_file(folder.path / "nights.csv", write=True)
    frame = read_client(folder.path).used("sleep")
    assert frame["start_clock"].dt.strftime("%H:%M").unique().tolist() == ["23:10"]
    assert frame["end_clock"].dt.strftime("%H:%M").unique().tolist() == ["06:55"]
