"""Sleep held against its own night: what must be left out, what must be asked, what must stay."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from miner.core.results import Finding
from miner.records.check.plausible_sleep import plausible_sleep
from miner.records.columns import empty
from miner.records.findings import Findings

COUNT = 20
NIGHT = {"asleep_min": 430, "deep_min": 80, "rem_min": 100, "light_min": 250, "awake_min": 50}


def sleep(rows: dict[int, dict[str, Any]] | None = None, **columns: Any) -> pd.DataFrame:
    """Twenty nights of eight hours; ``columns`` change all of them, ``rows`` some."""
    start = pd.Timestamp("2026-03-01 23:00") + pd.to_timedelta(np.arange(COUNT), unit="D")
    frame = pd.DataFrame({"start": start, "end": start + pd.Timedelta(hours=8)})
    frame = frame.assign(**NIGHT, awakenings=3.0, kind="main", left_out="", file="sleep.csv")
    frame = frame.assign(row=np.arange(COUNT) + 2, **columns).astype(dict.fromkeys(NIGHT, float))
    for at, cells in (rows or {}).items():
        for name, value in cells.items():
            frame.loc[at, name] = value
    return frame.assign(start_clock=frame["start"], end_clock=frame["end"])


def looked(frame: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    findings = Findings()
    return plausible_sleep(frame, findings), findings.items


def codes(found: list[Finding]) -> list[tuple[str, str, int]]:
    return [(item.code, str(item.severity), item.count) for item in found]


def test_nights_that_fit_are_left_as_they_are() -> None:
    frame = sleep({3: {"asleep_min": 300, "awake_min": 180, "light_min": 120}})
    after, found = looked(frame)
    assert found == []
    pd.testing.assert_frame_equal(after, frame)
    assert looked(empty("sleep"))[1] == []


def test_more_asleep_than_in_bed_becomes_unknown() -> None:
    after, found = looked(sleep({5: {"asleep_min": 900}}))
    assert codes(found) == [("asleep_beyond_bed", "left_out", 1)]
    assert (found[0].file, found[0].row, found[0].column) == ("sleep.csv", 7, "asleep_min")
    assert "'900 of 480 min'" in found[0].what
    assert found[0].days == ("2026-03-06",)
    assert after["asleep_min"].isna().to_numpy().nonzero()[0].tolist() == [5]
    assert after["awake_min"].notna().all()


@pytest.mark.parametrize("awake", [0.8, 50])
def test_hours_in_a_column_of_minutes_are_asked_about(awake: float) -> None:
    names = ("deep_min", "rem_min", "light_min")
    hours = {name: NIGHT[name] / 60 for name in ("asleep_min", *names)}
    after, found = looked(sleep(**hours, awake_min=awake))
    assert [(item.code, str(item.severity)) for item in found] == [("sleep_unit", "question")]
    assert "7.16667 in a night of 480 minutes" in found[0].what
    assert 'asleep_min = "h"' in found[0].do
    assert after[["asleep_min", *names]].isna().all(axis=None)
    assert after["awake_min"].isna().all() == (awake < 1)


def test_percent_of_the_night_is_asked_about() -> None:
    percent = {"deep_min": 18.0, "rem_min": 22.0, "light_min": 60.0}
    after, found = looked(sleep(**percent))
    assert [item.code for item in found] == ["sleep_unit"]
    assert after["asleep_min"].notna().all()
    assert after["deep_min"].isna().all()


def test_a_digit_that_was_cut_off_is_no_short_night() -> None:
    after, found = looked(sleep({4: {"asleep_min": 43, "awake_min": np.nan}}))
    assert codes(found) == [("asleep_cut_off", "left_out", 1)]
    assert np.isnan(after.loc[4, "asleep_min"])
    few = sleep(asleep_min=90.0, deep_min=np.nan, awake_min=np.nan)
    assert looked(few)[1] == []  # every night is short: nothing to go by


def test_stages_that_contradict_the_time_asleep_become_unknown() -> None:
    rows = {2: {"light_min": 25}, 9: {"asleep_min": 300, "awake_min": 180}}
    after, found = looked(sleep(rows))
    assert codes(found) == [("stages_not_asleep", "left_out", 1)] * 2
    assert after.loc[2, "asleep_min"] == 430
    assert after.loc[[2, 9], "light_min"].isna().all()
    assert np.isnan(after.loc[9, "asleep_min"])


def test_asleep_and_awake_that_do_not_fill_the_night_become_unknown() -> None:
    rows = {2: {"awake_min": 5}, 9: {"awake_min": 95}}
    after, found = looked(sleep(rows))
    assert codes(found) == [("asleep_and_awake", "left_out", 2)]
    assert after.loc[[2, 9], ["asleep_min", "awake_min"]].isna().all(axis=None)


def test_a_length_without_the_time_awake_is_asked_about() -> None:
    frame = sleep({3: {"awake_min": 0}}, asleep_min=480, light_min=300)
    after, found = looked(frame)
    assert codes(found) == [("length_without_awake", "question", COUNT)]
    pd.testing.assert_frame_equal(after, frame)


def test_stages_that_never_fit_are_a_question() -> None:
    _, found = looked(sleep(asleep_min=300.0, awake_min=np.nan))
    assert codes(found) == [("stages_not_asleep", "question", COUNT)]
    assert "map the right ones" in found[0].do


def test_a_sleep_of_more_than_sixteen_hours_is_asked_about() -> None:
    frame = sleep()
    frame.loc[6, ["end", "end_clock"]] = frame.loc[6, "start"] + pd.Timedelta(hours=20)
    after, found = looked(frame)
    assert codes(found) == [("sleep_too_long", "question", 1)]
    assert after["left_out"].tolist() == ["" if k != 6 else "over_16_hours" for k in range(20)]


def test_hours_of_length_read_as_minutes_are_asked_about() -> None:
    frame = sleep(asleep_min=np.nan, deep_min=np.nan, awake_min=np.nan)
    frame["end"] = frame["end_clock"] = frame["start"] + pd.Timedelta(minutes=8)
    after, found = looked(frame)
    assert codes(found) == [("sleep_too_short", "question", COUNT)]
    assert set(after["left_out"]) == {"under_an_hour"}
    assert looked(frame.assign(kind="nap"))[1] == []


def test_rows_left_out_already_are_not_looked_at() -> None:
    frame = sleep({5: {"asleep_min": 900, "left_out": "ends_before_start"}})
    assert looked(frame)[1] == []
