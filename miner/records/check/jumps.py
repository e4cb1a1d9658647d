"""Readings that are not of a body: impossible rates, steps across a gap, one value for hours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import Severity, message
from miner.records.place.gaps import modal_gap
from miner.records.text_columns import blank, marked

if TYPE_CHECKING:
    from miner.records.client import Settings
    from miner.records.findings import Findings

FASTEST_MG_DL_PER_MIN = 5.0
LONGEST_RATE_MIN = 20.0
STEP_GAP_H = 2.0
STEP_AROUND_H = 48.0
STEP_MG_DL = 25.0
FEWEST_AROUND = 24
_FEWEST_DAYS = 3
_LONGEST_MIN = 60
_MINUTE = np.timedelta64(1, "m")
Stamps = NDArray[np.datetime64]
Places = NDArray[np.int64]

TWO_IN_ONE = "two_people"
SHARE_QUICK, FEWEST_QUICK, FEWEST_MIXED_DAYS = 0.25, 20, 2


@dataclass(frozen=True, slots=True)
class Used:
    """The readings that are used, as arrays: place in the stream, instant, clock, value."""

    place: NDArray[np.int64]
    time: Stamps
    clock: Stamps
    value: NDArray[np.float64]

    @classmethod
    def of(cls, frame: pd.DataFrame) -> Used:
        """Return the used readings of the glucose stream that have a value."""
        value = frame["glucose"].to_numpy()
        used = blank(frame["left_out"]) & ~np.isnan(value)
        time, clock = frame["time"].to_numpy(), frame["clock"].to_numpy()
        if used.all():
            return cls(np.arange(len(time)), time, clock, value)
        place = np.flatnonzero(used)
        return cls(place, time[place], clock[place], value[place])

    def same_sensor(self, frame: pd.DataFrame, at: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Say of some readings whether the next one is of the same sensor."""
        here, there = (frame["sensor"].iloc[self.place[at + k]].to_numpy() for k in (0, 1))
        return np.array(here == there, dtype=np.bool_)


def jumps(frame: pd.DataFrame, settings: Settings, findings: Findings) -> pd.DataFrame:
    """Tell of impossible rates, steps across gaps, and changes of cadence.

    All stays used, but for a file in which the readings of two people stand mixed.
    """
    used = Used.of(frame)
    if used.place.size > 1:
        fast, least = _impossible_rates(frame, used)
        mixed = _files_of_two(frame, used, fast, least, findings)
        if mixed:
            return marked(frame, frame["file"].isin(mixed).to_numpy(), TWO_IN_ONE)
        _ask_about_rates(frame, used, fast, findings)
        _sensor_steps(frame, used, settings, findings)
        _cadences(used, findings)
    return frame


def _impossible_rates(frame: pd.DataFrame, used: Used) -> tuple[Places, float]:
    """Return the places before a change of more than 5 mg/dL a minute, and the least time compared.

    Readings closer than half the usual time apart (one stored, one on demand) are not compared.
    """
    usual = modal_gap(used.time)
    least = 0.0 if usual is None else float(usual / _MINUTE) / 2
    change = np.abs(np.diff(used.value))
    large = np.flatnonzero(change > FASTEST_MG_DL_PER_MIN * least)
    minutes = (used.time[large + 1] - used.time[large]) / _MINUTE
    fast = _compared(minutes, least) & (change[large] > FASTEST_MG_DL_PER_MIN * minutes)
    return large[fast][used.same_sensor(frame, large[fast])], least


def _compared(minutes: NDArray[np.float64], least: float) -> NDArray[np.bool_]:
    return np.asarray((minutes > 0) & (minutes <= LONGEST_RATE_MIN) & (minutes >= least))


def _ask_about_rates(frame: pd.DataFrame, used: Used, at: Places, findings: Findings) -> None:
    """Ask about readings that differ too much from the one before; all are used as they stand."""
    change = used.value[at + 1] - used.value[at]
    minutes = (used.time[at + 1] - used.time[at]) / _MINUTE
    findings.rows(
        Severity.QUESTION,
        "fast_change",
        at=frame.iloc[used.place[at + 1]],
        shown=[
            message("records.change_in_minutes", change=round(float(a)), minutes=round(float(b)))
            for a, b in zip(change, minutes, strict=True)
        ],
        stream="glucose",
        values={"fastest": FASTEST_MG_DL_PER_MIN},
    )


def _files_of_two(
    frame: pd.DataFrame, used: Used, fast: Places, least: float, findings: Findings
) -> list[str]:
    """Return the files in which two traces stand mixed, each with a finding that stops.

    A day is mixed where a quarter of its steps, and at least 20, are faster than a body can. Two
    such days stop the file: of one person's sensor fewer than 3 in 100 are (common practice, no
    source).
    """
    if len(fast) < FEWEST_QUICK * FEWEST_MIXED_DAYS:
        return []
    compared = np.flatnonzero(_compared(np.diff(used.time) / _MINUTE, least))
    day = used.clock.astype("datetime64[D]").astype(np.int64)
    files, file = np.unique(frame["file"].iloc[used.place].astype(str), return_inverse=True)
    key = file.astype(np.int64) * 1_000_000 + day
    keys, of = np.unique(key, return_inverse=True)
    quick, all_of = (np.bincount(of[at], minlength=len(keys)) for at in (fast, compared))
    mixed = keys[(quick >= FEWEST_QUICK) & (quick >= SHARE_QUICK * all_of)]
    found = []
    for at, name in enumerate(files.tolist()):
        days = mixed[mixed // 1_000_000 == at] % 1_000_000
        if len(days) < FEWEST_MIXED_DAYS:
            continue
        own = fast[file[fast] == at]
        steps = int((file[compared] == at).sum())
        found.append(name)
        findings.whole(
            Severity.STOP,
            "two_in_one_file",
            frame.iloc[used.place[own + 1]],
            stream="glucose",
            days=tuple(str(np.datetime64(int(each), "D")) for each in days),
            values={
                "steps": steps,
                "share": 100 * len(own) / steps,
                "mixed_days": len(days),
                "fastest": FASTEST_MG_DL_PER_MIN,
            },
        )
    return found


def _sensor_steps(frame: pd.DataFrame, used: Used, settings: Settings, findings: Findings) -> None:
    """Ask about a gap of over two hours with another level after it: was it a new sensor?

    The medians of the readings within 48 hours before and after it are compared. A change that is
    declared, or that the sensor column shows, is not asked about.
    """
    gaps = np.flatnonzero(np.diff(used.time) > np.timedelta64(int(STEP_GAP_H * 60), "m"))
    gaps = gaps[used.same_sensor(frame, gaps)]
    clock = used.clock
    changes = np.array([each.to_datetime64() for each in settings.sensor_changes], clock.dtype)
    found, shown = [], []
    for at in gaps.tolist():
        declared = ((changes >= clock[at]) & (changes <= clock[at + 1])).any()
        step = 0.0 if declared else _step(used.time, used.value, at)
        if abs(step) >= STEP_MG_DL:
            hours = (used.time[at + 1] - used.time[at]) / _MINUTE / 60
            found.append(at + 1)
            shown.append(
                message("records.step_after_gap", hours=round(float(hours), 1), step=round(step))
            )
    rows = frame.iloc[used.place[found]]
    findings.rows(Severity.QUESTION, "sensor_step", at=rows, shown=shown, stream="glucose")


def _step(time: NDArray[np.datetime64], value: NDArray[np.float64], at: int) -> float:
    around = np.timedelta64(int(STEP_AROUND_H * 60), "m")
    low, high = np.searchsorted(time, [time[at] - around, time[at + 1] + around])
    before, after = value[low : at + 1], value[at + 1 : high]
    if min(len(before), len(after)) < FEWEST_AROUND:
        return 0.0
    return float(np.median(after) - np.median(before))


def _cadences(used: Used, findings: Findings) -> None:
    """Tell where the time between readings is not the same on all days."""
    every = _by_day(used.time, used.clock)
    usual = {minutes: days for minutes, days in every.items() if days >= _FEWEST_DAYS}
    if len(usual) > 1:
        told = [
            message("records.cadence_on_days", minutes=minutes, n=usual[minutes])
            for minutes in sorted(usual)
        ]
        findings.add(Severity.NOTE, "cadence_varies", values={"cadences": told})


def _by_day(time: Stamps, clock: Stamps) -> dict[int, int]:
    """Return on how many days the commonest gap was so many minutes."""
    day = clock.astype("datetime64[D]").astype(np.int64)
    day -= day.min()
    gap = np.floor(np.diff(time) / _MINUTE + 0.5)
    gap[(day[1:] != day[:-1]) | (gap > _LONGEST_MIN)] = 0
    wide = _LONGEST_MIN + 1
    counts = np.bincount(day[1:] * wide + gap.astype(np.int64), minlength=wide * (day.max() + 1))
    counts = counts.reshape(-1, wide)
    counts[:, 0] = 0
    modal = counts.argmax(axis=1)[counts.sum(axis=1) >= FEWEST_AROUND - 1]
    minutes, times = np.unique(modal, return_counts=True)
    return dict(zip(minutes.tolist(), times.tolist(), strict=True))


STUCK_MIN, FEWEST_STUCK = 180.0, 9
MOST_ALIKE = 0.5
STUCK = "stuck"


def stuck_values(frame: pd.DataFrame, _: Settings, findings: Findings) -> pd.DataFrame:
    """Leave out readings that stay the same for three hours, after the first of them.

    Of four people's records the longest such run was of 105 minutes, but for runs at the lowest and
    the highest value a sensor shows, which are no fault. Where more than half of all readings
    repeat the one before, rounding explains it and nothing is judged.
    """
    used = Used.of(frame)
    if used.place.size < FEWEST_STUCK:
        return frame
    same = used.value[1:] == used.value[:-1]
    minutes = np.diff(used.time) / _MINUTE
    near = (minutes > 0) & (minutes <= LONGEST_RATE_MIN)
    alike = near & same
    if not alike.any() or alike.sum() > MOST_ALIKE * near.sum():
        return frame
    ends = np.flatnonzero(np.diff(np.concatenate([[False], alike, [False]]).astype(np.int8)))
    first, last = ends[::2], ends[1::2]
    value = used.value[first]
    long = (used.time[last] - used.time[first]) / _MINUTE >= STUCK_MIN
    long &= last - first + 1 >= FEWEST_STUCK
    long &= (value > used.value.min()) & (value < used.value.max())
    stuck = np.zeros(len(frame), dtype=bool)
    for begin, end in zip(first[long], last[long], strict=True):
        stuck[used.place[begin + 1 : end + 1]] = True
    rows = frame[stuck]
    shown = [f"{value:.0f} mg/dL" for value in rows["glucose"]]
    findings.rows(Severity.QUESTION, "stuck_value", at=rows, shown=shown, stream="glucose")
    return marked(frame, stuck, STUCK)
