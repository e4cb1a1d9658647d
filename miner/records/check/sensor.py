"""What a sensor does that is not the client's glucose: reported, and left out where that is sure.

A detector looks at the glucose stream with the settings and returns it with ``left_out`` filled
in; ``DETECTORS`` are run in this order.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import Severity, message
from miner.records.check.one_person import copied_days
from miner.records.client import Settings
from miner.records.findings import Findings
from miner.records.place.gaps import modal_gap
from miner.records.text_columns import blank, changes, marked

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
    """Report impossible rates, steps across gaps, and changes of cadence.

    All stays used, but for a file in which the readings of two people are mixed.
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
    """Ask about readings that differ too much from the one before; all are used as they are."""
    change = np.rint(used.value[at + 1] - used.value[at]).astype(int).tolist()
    minutes = np.rint((used.time[at + 1] - used.time[at]) / _MINUTE).astype(int).tolist()
    both, rows = zip(change, minutes, strict=True), frame.iloc[used.place[at + 1]]
    shown = [message("records.change_in_minutes", change=a, minutes=b) for a, b in both]
    about = {"stream": "glucose", "values": {"fastest": FASTEST_MG_DL_PER_MIN}}
    findings.rows(Severity.QUESTION, "fast_change", at=rows, shown=shown, **about)


def _files_of_two(
    frame: pd.DataFrame, used: Used, fast: Places, least: float, findings: Findings
) -> list[str]:
    """Return the files in which two traces are mixed, each with a finding that stops.

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
    shown = [message("records.reading", value=value) for value in rows["glucose"]]
    findings.rows(Severity.QUESTION, "stuck_value", at=rows, shown=shown, stream="glucose")
    return marked(frame, stuck, STUCK)


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


DETECTORS = (
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
