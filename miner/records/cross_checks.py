"""Streams that do not agree in time: reported with the shift that would help, never moved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from miner.core.messages import Message, message
from miner.core.results import Severity
from miner.records.agreement import (
    Amounts,
    Floats,
    MealShift,
    Shift,
    shift_of_events,
    shift_of_meals,
    shift_of_movement,
)
from miner.records.columns import STILL
from miner.records.days_apart import days_that_do_not_meet, iso_day
from miner.records.findings import Findings
from miner.records.text_columns import used_rows

STEPS_ASLEEP = 200.0
STEPS_A_MINUTE = 100.0
"""Of a movement whose steps are not known. Source: Tudor-Locke et al. 2018, Br J Sports Med 52:776
(walking at moderate intensity, rounded)."""

STRESS_ASLEEP_MIN = 20.0
WHOLE_DAY = pd.Timedelta(hours=23)
MOST_OF_IT = 0.8
Streams = Mapping[str, pd.DataFrame]


@dataclass(frozen=True, slots=True)
class _Apart:
    """A stream, the shift that would help, and where the stream comes from."""

    stream: str
    shift: Shift
    file: str
    whole: bool


def hold_together(streams: Streams, findings: Findings) -> None:
    """Ask where the clock of one stream seems to differ from another's, or where days do not meet.

    Sleep is held against steps, meals, stress and tags, meals against the rises of glucose, and
    the days of every stream against those of the glucose.

    Args:
        streams: the six, each with ``left_out`` filled in.
        findings: gets what is asked.
    """
    if all(frame.empty for name, frame in streams.items() if name != "glucose"):
        return
    used = {name: used_rows(frame) for name, frame in streams.items()}
    days_that_do_not_meet(used, findings)
    meals = _meals_and_glucose(used)
    if meals is not None:
        _ask_meals(meals, used["meals"], findings)
    apart = _from_sleep(used)
    if meals is not None:
        apart = [item for item in apart if item.stream != "meals"]
    if len(apart) > 1:
        _ask_sleep(apart, used["sleep"], findings)
    else:
        for item in apart:
            _ask(item, findings)


def _from_sleep(used: Streams) -> list[_Apart]:
    sleep = used["sleep"]
    sleep = sleep[sleep["kind"] != "nap"]
    start, end = _minutes(sleep["start"]), _minutes(sleep["end"])
    found = []
    for name in ("activity", "stress", "meals", "tags"):
        frame = used[name]
        if not len(frame) or not len(sleep):
            continue
        happened, most = _happened(name, frame)
        look = shift_of_movement if name == "activity" else shift_of_events
        shift = look(start, end, happened, most)
        if shift is not None:
            whole = shift.of > MOST_OF_IT * len(start)
            found.append(_Apart(name, shift, str(frame["file"].iloc[0]), whole))
    return found


def _happened(name: str, frame: pd.DataFrame) -> tuple[Amounts, float]:
    """Return what a sleeper does not do, as amounts over time, and how much is too much."""
    if name in ("meals", "tags"):
        at = _minutes(frame["time" if name == "meals" else "start"])
        return Amounts.of(at, at, np.ones(len(at))), 0.5
    if name == "stress":
        start, end = _minutes(frame["start"]), _minutes(frame["end"])
        return Amounts.of(start, end, end - start), STRESS_ASLEEP_MIN
    frame = frame[frame["end"] - frame["start"] < WHOLE_DAY]
    start, end = _minutes(frame["start"]), _minutes(frame["end"])
    active = frame["active_min"].to_numpy(np.float64)
    active = np.where(np.isnan(active), end - start, active)
    guessed = np.where((frame["kind"] == STILL).to_numpy(), 0.0, STEPS_A_MINUTE * active)
    steps = frame["steps"].to_numpy(np.float64)
    return Amounts.of(start, end, np.where(np.isnan(steps), guessed, steps)), STEPS_ASLEEP


def _meals_and_glucose(used: Streams) -> MealShift | None:
    glucose = used["glucose"].dropna(subset=["glucose"]).sort_values("time", kind="stable")
    return shift_of_meals(
        _minutes(used["meals"]["time"]),
        _minutes(glucose["time"]),
        glucose["glucose"].to_numpy(np.float64),
    )


def _minutes(times: pd.Series[pd.Timestamp]) -> Floats:
    seconds = times.to_numpy().astype("datetime64[s]").astype(np.int64)
    return np.asarray(seconds / 60, dtype=np.float64)


def _ask(item: _Apart, findings: Findings) -> None:
    shift = item.shift
    findings.add(
        Severity.QUESTION,
        "clock_apart",
        told_as=f"clock_apart_{'movement' if item.stream == 'activity' else 'events'}",
        file=item.file,
        count=shift.now,
        stream=item.stream,
        gain_days=shift.now,
        values=_values(item.stream, "sleep", shift)
        | {"evidence": _evidence(item), "way": _way(shift.minutes)},
    )


def _ask_sleep(apart: list[_Apart], sleep: pd.DataFrame, findings: Findings) -> None:
    by_steps = [item for item in apart if item.stream == "activity"]
    surest = by_steps[0] if by_steps else max(apart, key=lambda item: abs(item.shift.minutes))
    minutes = -surest.shift.minutes
    now = max(item.shift.now for item in apart)
    findings.add(
        Severity.QUESTION,
        "clock_apart",
        told_as="clock_apart_sleep",
        file=str(sleep["file"].iloc[0]),
        count=now,
        stream="sleep",
        gain_days=now,
        values=_values("sleep", surest.stream, surest.shift)
        | {
            "shift_min": minutes,
            "evidence": [_evidence(item) for item in apart],
            "way": _way(minutes),
        },
    )


def _ask_meals(shift: MealShift, meals: pd.DataFrame, findings: Findings) -> None:
    days = meals["clock"].dt.normalize().nunique()
    findings.add(
        Severity.QUESTION,
        "clock_apart",
        told_as="clock_apart_meals",
        file=str(meals["file"].iloc[0]),
        count=shift.of,
        stream="meals",
        gain_days=days,
        values={
            "against": "glucose",
            "shift_min": shift.minutes,
            "of": shift.of,
            "now": round(shift.now, 1),
            "then": round(shift.then, 1),
            "rise_now": shift.now,
            "rise_then": shift.then,
            "way": _way(shift.minutes),
        },
    )


def _evidence(item: _Apart) -> Message:
    shift = item.shift
    first, last = _date(shift.first), _date(shift.last)
    some = message("records.some_nights", now=shift.now, of=shift.of, first=first, last=last)
    nights = message("records.nights", now=shift.now, of=shift.of) if item.whole else some
    kind = item.stream if item.stream in ("activity", "stress") else "noted"
    return message(f"records.{kind}_asleep", stream=item.stream, nights=nights)


def _date(minutes: float) -> str:
    return iso_day(int(minutes // 1440))


def _values(stream: str, against: str, shift: Shift) -> dict[str, Any]:
    return {
        "stream": stream,
        "against": against,
        "shift_min": shift.minutes,
        "now": shift.now,
        "then": shift.then,
        "of": shift.of,
    }


def _way(minutes: int) -> Message:
    hours, rest = divmod(abs(minutes), 60)
    parts = [message("records.hours", n=hours)] if hours else []
    parts += [message("records.minutes", n=rest)] if rest else []
    return message(f"records.{'later' if minutes > 0 else 'earlier'}", length=parts)
