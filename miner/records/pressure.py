"""Lows in the night that look like pressure on the sensor: asked about, never hidden."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.results import Severity
from miner.records.findings import Findings
from miner.records.iso8601 import Stamps
from miner.records.jumps import Used

FALL_MG_DL, FALL_MIN = 20.0, 15.0
RISE_MG_DL, RISE_MIN = 20.0, 30.0
SHORTEST_MIN, LONGEST_MIN = 15.0, 120.0
FLAT_MG_DL = 15.0
LOW_MG_DL = 90.0
LONGEST_GAP_MIN = 20.0
VERY_LOW_MG_DL = 54.0
_NIGHT_ENDS_H = 6
Floats = NDArray[np.float64]
Places = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Low:
    """Places of the first and the last reading of a low, and its lowest value."""

    first: int
    last: int
    lowest: float


def suspect_pressure(glucose: pd.DataFrame, sleep: pd.DataFrame, findings: Findings) -> None:
    """Ask about lows in sleep that fall fast, stay flat and come back fast.

    A fall of 20 mg/dL within 15 minutes to under 90, a flat bottom of 15 to 120 minutes, and a
    rise of 20 within 30. Without any record of sleep the night is taken as 00:00 to 06:00.
    Nothing is left out: that is only done once ``client.toml`` confirms it.

    Args:
        glucose: the stream, with ``left_out`` filled in.
        sleep: the stream.
        findings: gets one question a low.
    """
    used = Used.of(glucose)
    if not used.place.size:
        return
    lows = list(lows_over((used.time - used.time[0]) / np.timedelta64(1, "m"), used.value))
    ends = np.array([(low.first, low.last) for low in lows], dtype=np.int64).reshape(-1, 2)
    asleep = _asleep(used.time[ends], used.clock[ends], sleep)
    for low, (begins, stays) in zip(lows, asleep.tolist(), strict=True):
        if begins and stays:
            _ask(glucose.iloc[used.place[low.first : low.last + 1]], low.lowest, findings)


def _ask(rows: pd.DataFrame, lowest: float, findings: Findings) -> None:
    start, end = (rows["clock"].iloc[at] for at in (0, -1))
    findings.add(
        Severity.QUESTION,
        "pressure_low",
        file=str(rows["file"].iloc[0]),
        row=int(rows["row"].iloc[0]),
        count=len(rows),
        stream="glucose",
        days=(f"{start:%Y-%m-%d}",),
        values={"lowest": lowest, "start": start, "end": end, "real_below": VERY_LOW_MG_DL},
        told_as="very_low_in_the_night" if lowest < VERY_LOW_MG_DL else "",
    )


def _asleep(time: Stamps, clock: Stamps, sleep: pd.DataFrame) -> NDArray[np.bool_]:
    nights = sleep[sleep["left_out"] == ""]
    if nights.empty:
        since = clock - clock.astype("datetime64[D]")
        return np.array(since < np.timedelta64(_NIGHT_ENDS_H, "h"), dtype=np.bool_)
    start = nights["start"].to_numpy()
    reach = np.maximum.accumulate(nights["end"].to_numpy())
    place = np.searchsorted(start, time, side="right") - 1
    return np.array((place >= 0) & (time <= reach[np.maximum(place, 0)]), dtype=np.bool_)


def lows_over(minutes: Floats, value: Floats) -> Iterator[Low]:
    """Yield the lows of readings with gaps, in time order; none reaches over a gap.

    Args:
        minutes: when each reading was taken.
        value: the readings, mg/dL.
    """
    cuts = np.flatnonzero(np.diff(minutes) > LONGEST_GAP_MIN) + 1
    for first, end in pairwise([0, *cuts.tolist(), len(minutes)]):
        for low in lows_of(minutes[first:end], value[first:end]):
            yield Low(first + low.first, first + low.last, low.lowest)


def lows_of(minutes: Floats, value: Floats) -> Iterator[Low]:
    """Yield the lows of a stretch of readings without a gap, in time order.

    Args:
        minutes: when each reading was taken.
        value: the readings, mg/dL.
    """
    done = -1
    highs, firsts = _falls(minutes, value)
    flat = _begins_flat(minutes, value, firsts)
    for high, first in zip(highs[flat].tolist(), firsts[flat].tolist(), strict=True):
        if high <= done:
            continue
        back = _back(minutes, value, first)
        if back is None:
            continue
        bottom = value[first : back + 1]
        length = minutes[back] - minutes[first]
        low = float(np.ptp(bottom)) <= FLAT_MG_DL and float(bottom.min()) < LOW_MG_DL
        if low and SHORTEST_MIN <= length <= LONGEST_MIN:
            yield Low(first, back, float(bottom.min()))
            done = back


def _falls(minutes: Floats, value: Floats) -> tuple[Places, Places]:
    """Return the places from which glucose falls by 20 within 15 minutes, and where it has."""
    first = np.zeros(len(value), dtype=np.int64)
    shortest = float(np.diff(minutes).min(initial=FALL_MIN))
    steps = min(FALL_MIN, FALL_MIN // max(shortest, 1.0) + 1, len(value) - 1)
    for step in range(int(steps), 0, -1):
        at = np.flatnonzero(value[:-step] - value[step:] >= FALL_MG_DL)
        at = at[minutes[at + step] - minutes[at] <= FALL_MIN]
        first[at] = at + step
    highs = np.flatnonzero(first)
    return highs, first[highs]


def _begins_flat(minutes: Floats, value: Floats, first: Places) -> NDArray[np.bool_]:
    """Say after which places glucose stays within 15 mg/dL for the shortest length of a low.

    What does not cannot be a low; a noisy record has very many falls, and this looks at all of
    them at once.
    """
    lowest, highest = value[first], value[first]
    ends = np.searchsorted(minutes, minutes[first] + SHORTEST_MIN)
    for step in range(1, int((ends - first).max(initial=0))):
        near = value[np.minimum(first + step, ends - 1)]
        lowest, highest = np.minimum(lowest, near), np.maximum(highest, near)
    return np.asarray(highest - lowest <= FLAT_MG_DL)


def _back(minutes: Floats, value: Floats, first: int) -> int | None:
    """Return the last place of the bottom, from which it rises by 20 within 30 minutes."""
    end = int(np.searchsorted(minutes, minutes[first] + LONGEST_MIN + RISE_MIN, side="right"))
    for at in range(first, end):
        reach = int(np.searchsorted(minutes, minutes[at] + RISE_MIN, side="right"))
        higher = value[at + 1 : reach] >= value[at] + RISE_MG_DL
        if higher.any() and value[at + 1] > value[at] + RISE_MG_DL / 4:
            return at
    return None
