"""What a sensor does that is not the client's glucose: told, and left out where that is sure.

A detector looks at the glucose stream with the settings and returns it with ``left_out`` filled
in; ``DETECTORS`` are run in this order.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import Severity
from miner.records.check.jumps import Used, jumps, stuck_values
from miner.records.check.one_person import copied_days
from miner.records.client import Settings
from miner.records.findings import Findings
from miner.records.text_columns import blank, changes, marked

if TYPE_CHECKING:
    from miner.records.place.times import Stamps

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
            rows = glucose.iloc[used.place[low.first : low.last + 1]]
            start, end = (rows["clock"].iloc[at] for at in (0, -1))
            values = {"lowest": low.lowest, "start": start, "end": end}
            findings.whole(
                Severity.QUESTION,
                "pressure_low",
                rows,
                stream="glucose",
                days=(f"{start:%Y-%m-%d}",),
                values=values | {"real_below": VERY_LOW_MG_DL},
                told_as="very_low_in_the_night" if low.lowest < VERY_LOW_MG_DL else "",
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


Detector = Callable[[pd.DataFrame, Settings, Findings], pd.DataFrame]

_FIRST_DAY = np.timedelta64(24, "h")
_AROUND_PRESSURE = pd.Timedelta(minutes=15)


def sensor_labels(frame: pd.DataFrame, settings: Settings, _: Findings) -> pd.DataFrame:
    """Number the sensors from the changes in ``client.toml`` where the file does not name them."""
    if not settings.sensor_changes or frame.empty:
        return frame
    labels, nameless = numbered(frame, settings), blank(frame["sensor"])
    return frame.assign(sensor=labels if nameless.all() else frame["sensor"].mask(nameless, labels))


def numbered(frame: pd.DataFrame, settings: Settings) -> pd.Series[str]:
    """Return the number of the sensor of each reading, from 1, by the declared changes."""
    declared = np.array([item.to_datetime64() for item in settings.sensor_changes])
    number = np.searchsorted(declared, frame["clock"].to_numpy(), side="right")
    number -= number.min(initial=len(declared))
    names = pd.array([str(each + 1) for each in range(len(declared) + 1)], dtype="str")
    return pd.Series(names.take(number), index=frame.index)


def first_day(frame: pd.DataFrame, settings: Settings, findings: Findings) -> pd.DataFrame:
    """Leave out the first 24 hours of a sensor whose beginning is known.

    It is known where ``client.toml`` declares it, and where a new name comes into the sensor
    column; the first name in the records may have begun before them.
    """
    declared = [change.to_datetime64() for change in settings.sensor_changes]
    if not declared and not changes(frame["sensor"]).size:
        return frame
    young = np.zeros(len(frame), dtype=bool)
    clock = frame["clock"].to_numpy()
    for begun in declared:
        young |= (clock >= begun) & (clock < begun + _FIRST_DAY)
    sensor, names = pd.factorize(frame["sensor"])
    first = pd.Series(clock).groupby(sensor).min().set_axis(names).drop("", errors="ignore")
    until = np.full(len(names), np.datetime64("NaT", "ns"))
    for name, time in first.sort_index().sort_values(kind="stable").iloc[1:].items():
        begun = np.datetime64(time)
        if not any(begun - _FIRST_DAY < known <= begun for known in declared):
            until[names.get_loc(name)] = begun + _FIRST_DAY
    young |= clock < until[sensor]
    young &= blank(frame["left_out"])
    findings.rows(Severity.LEFT_OUT, "sensor_first_day", at=frame[young])
    return marked(frame, young, "first_sensor_day")


def confirmed_pressure(frame: pd.DataFrame, settings: Settings, findings: Findings) -> pd.DataFrame:
    """Leave out the confirmed pressure lows of ``client.toml``, with 15 minutes around them."""
    if not settings.pressure_lows:
        return frame
    pressed = np.zeros(len(frame), dtype=bool)
    for start, end in settings.pressure_lows:
        inside = frame["clock"].between(start - _AROUND_PRESSURE, end + _AROUND_PRESSURE)
        pressed |= inside.to_numpy()
    pressed &= blank(frame["left_out"])
    findings.rows(Severity.LEFT_OUT, "pressure_low_confirmed", at=frame[pressed])
    low = pressed & (frame["glucose"] < VERY_LOW_MG_DL).to_numpy()
    rows, values = frame[low], {"under": VERY_LOW_MG_DL}
    shown = rows["glucose"].round(0)
    findings.rows(Severity.QUESTION, "pressure_low_very_low", at=rows, shown=shown, values=values)
    return marked(frame, pressed, "pressure_low")


DETECTORS: tuple[Detector, ...] = (
    first_day,
    sensor_labels,
    confirmed_pressure,
    stuck_values,
    jumps,
    copied_days,
)


def look(frame: pd.DataFrame, settings: Settings, findings: Findings) -> pd.DataFrame:
    """Run every detector over the glucose stream."""
    for detector in DETECTORS:
        frame = detector(frame, settings, findings)
    return frame
