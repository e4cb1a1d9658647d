"""What the logs show: rises without a meal, late entries, logs that begin late or fade."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from miner import steps


def write(folder: Path, *, days=28, bumps=(), meals=(), tags=(), nights=()) -> Path:
    times = pd.date_range("2026-03-02", periods=288 * days, freq="5min")
    value = np.full(len(times), 100.0)
    for bump in bumps:
        minutes = (times - pd.Timestamp(bump)) / pd.Timedelta(minutes=1)
        value += 60 * np.exp(-(((minutes - 45) / 25) ** 2))
    value[36 :: 288 + 1] += 1  # at another time each day, or the days would be copies
    rows = [f"{t:%Y-%m-%dT%H:%M},{v:.0f}" for t, v in zip(times, value, strict=True)]
    (folder / "glucose.csv").write_text("\n".join(["time,glucose_mg_dl", *rows]))
    for name, header, listed in (
        ("meals", "time,label", [f"{m},food" for m in meals]),
        ("tags", "time,tag", [f"{t},wine" for t in tags]),
        ("sleep", "start,end", nights),
    ):
        if listed:
            (folder / f"{name}.csv").write_text("\n".join([header, *listed]))
    return folder


def said(folder: Path, words: str):
    return [item for item in steps.check(steps.read_client(folder)).findings if words in item.what]


def every_day(first: int, last: int, clock: str, times: int = 1) -> list[str]:
    days = pd.date_range("2026-03-02", periods=last).strftime("%Y-%m-%d")[first:]
    hours = [clock, "13:00", "19:00"][:times]
    return [f"{day}T{hour}" for day in days for hour in hours]


def test_a_rise_without_a_meal_is_told(tmp_path):
    bumps = ["2026-03-05T12:00", "2026-03-06T12:00", "2026-03-07T12:00"]
    write(tmp_path, bumps=bumps, meals=["2026-03-05T11:30", "2026-03-06T12:05"])
    (found,) = said(tmp_path, "with no meal noted")
    assert found.what.endswith("On 1 day: 2026-03-07")
    assert (found.count, found.severity) == (1, "question")
    (late,) = said(tmp_path, "minutes late")
    assert late.what.endswith("On 1 day: 2026-03-06")


def test_a_meal_at_an_unknown_time_may_be_the_one_that_is_missed(tmp_path):
    bumps = ["2026-03-06T12:00", "2026-03-07T12:00"]
    write(tmp_path, bumps=bumps, meals=["2026-03-05T11:30", "2026-03-07", "2026-03-08T12:05"])
    (found,) = said(tmp_path, "with no meal noted")
    assert found.what.endswith("On 1 day: 2026-03-06")


def test_without_any_meal_log_no_meal_is_missed(tmp_path):
    write(tmp_path, bumps=["2026-03-07T12:00"])
    assert not said(tmp_path, "meal noted")


@pytest.mark.parametrize(("first", "told"), [(10, 1), (6, 0)])
def test_tags_that_begin_half_way(tmp_path, first, told):
    write(tmp_path, tags=every_day(first, 28, "20:00"))
    found = said(tmp_path, "the notes on tags begin on")
    assert len(found) == told
    if told:
        assert f"the notes on tags begin on 2026-03-12, {first} days after" in found[0].what


@pytest.mark.parametrize(("last", "told"), [(28, 0), (26, 0), (24, 1), (21, 1)])
def test_a_log_that_fades(tmp_path, last, told):
    write(tmp_path, meals=every_day(0, last, "08:00", 3))
    found = said(tmp_path, "fewer meals are noted")
    assert len(found) == told
    if told:
        left = (last - 21) * 3 / 7
        assert f"{left:.1f} a day in the last 7 days and 3.0 a day before" in found[0].what


def test_meals_in_the_middle_of_the_night(tmp_path):
    write(tmp_path, meals=every_day(0, 20, "03:00", 2))
    (found,) = said(tmp_path, "between 01:00 and 05:00")
    assert "20 of 40 meals" in found.what


def slept(shift_from: int, hours: int) -> list[str]:
    rows = []
    for k, day in enumerate(pd.date_range("2026-03-02", periods=27)):
        start = day + pd.Timedelta(hours=23 + (hours if k >= shift_from else 0))
        end = start + pd.Timedelta(hours=7)
        rows.append(f"{start:%Y-%m-%dT%H:%M},{end:%Y-%m-%dT%H:%M}")
    return rows


@pytest.mark.parametrize(("hours", "told"), [(0, 0), (3, 0), (5, 1)])
def test_nights_that_moved_without_the_clock(tmp_path, hours, told):
    write(tmp_path, nights=slept(12, hours))
    assert len(said(tmp_path, "sleep is 5 hours or more")) == told


def test_a_flight_over_nine_hours_is_left_out_for_three_days(tmp_path):
    # Los Angeles (-08:00) until 8 March 2026, 03:00 UTC, then Paris (+01:00): nine hours
    times = pd.date_range("2026-03-01", periods=288 * 20, freq="5min", tz="UTC")
    flight = pd.Timestamp("2026-03-08T03:00", tz="UTC")
    rows = [
        f"{t.tz_convert('Etc/GMT+8' if t < flight else 'Etc/GMT-1').isoformat()},{100 + i % 9}"
        for i, t in enumerate(times)
    ]
    (tmp_path / "glucose.csv").write_text("\n".join(["time,glucose_mg_dl", *rows]))
    client = steps.read_client(tmp_path)
    gaps = client.streams["glucose"]["time"].diff().dropna().unique()
    assert list(gaps) == [pd.Timedelta(minutes=5)]
    (found,) = said(tmp_path, "the clock moved by 9 hours")
    assert found.severity == "left_out"
    frame = steps.day_table(client)
    near = frame.loc["2026-03-08":"2026-03-10"]
    assert not near["usable"].any()
    assert frame.loc["2026-03-12":"2026-03-18", "usable"].all()
