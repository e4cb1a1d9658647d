"""The outcomes of a day: their windows, and the share of each that must hold readings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import isfinite

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pandas.api.indexers import BaseIndexer

from miner.core.messages import Message, MinerError, closest
from miner.rulebook import OutcomeRule
from miner.tables.cells import Found, because, unknown
from miner.tables.columns import DAY, HOUR, Floats, Source, Times, Zones, covered, percent
from miner.tables.glucose.trace import Mask, Trace, above
from miner.tables.sleep.nights import Days, Nights, why_no_night

SMOOTHED_OVER_MIN = 15
WITHIN_MIN = 180
BEYOND = 1e9


class _Given(BaseIndexer):
    """Windows that begin at given places and end with the row itself."""

    begins: NDArray[np.int64]

    def get_window_bounds(  # pandas asks for these names
        self,
        num_values: int = 0,
        min_periods: int | None = None,  # noqa: ARG002
        center: bool | None = None,  # noqa: ARG002
        closed: str | None = None,  # noqa: ARG002
        step: int | None = None,  # noqa: ARG002
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        return self.begins, np.arange(1, num_values + 1, dtype=np.int64)


def smoothed(trace: Trace) -> Floats:
    """Return the median of each sensor's readings within 7.5 minutes either side of each.

    LO and HI count as beyond every reading; where the median is one of them it is -1e9 or 1e9.
    """
    bounded = np.clip(trace.ordered, -BEYOND, BEYOND)
    out = np.empty(bounded.size)
    for sensor in np.unique(trace.sensor):
        rows = trace.sensor == sensor
        series = pd.Series(bounded[rows], index=trace.at[rows].astype("datetime64[s]"))
        window = pd.Timedelta(minutes=SMOOTHED_OVER_MIN)
        rolled = series.rolling(window, center=True, closed="both", min_periods=1).median()
        out[rows] = rolled.to_numpy()
    return beyond(out)


def beyond(medians: Floats) -> Floats:
    """Return medians, with those of which half is beyond the sensor beyond it as a whole."""
    return np.where(np.abs(medians) > BEYOND / 4, np.sign(medians) * BEYOND, medians)


def biggest_climbs(trace: Trace, smooth: Floats, low: Times, high: Times) -> Floats:
    """Return, for each run of readings, the largest climb to a later reading within 3 hours.

    Formula: max over j of s_j - min(s_i : i <= j, t_j - t_i <= 180 min, same sensor, same run).

    Args:
        trace: the readings.
        smooth: the smoothed readings.
        low: place of the first reading of each run; runs are in time order, none overlapping.
        high: one past the place of its last reading.

    Returns:
        mg/dL a run, 0 where nothing climbs, NaN without readings, infinite where it starts or
        ends beyond what the sensor shows.
    """
    out = np.full(low.size, np.nan)
    if not smooth.size or not low.size:
        return out
    run = np.searchsorted(low, np.arange(smooth.size), side="right") - 1
    run = np.where(np.arange(smooth.size) < high[run], run, -1)
    order = np.lexsort((trace.at, trace.sensor))
    series, runs = smooth[order], run[order]
    ahead = trace.sensor[order] * (1 << 40) + trace.at[order]
    begins = np.searchsorted(ahead, ahead - WITHIN_MIN * 60, side="left")
    group = trace.sensor[order] * (low.size + 1) + runs
    opens = np.flatnonzero(np.diff(group, prepend=group[0] - 1))
    block = np.searchsorted(opens, np.arange(series.size), side="right") - 1
    begins = np.maximum(begins, opens[block]).astype(np.int64)
    lowest = pd.Series(series).rolling(_Given(begins=begins), min_periods=1).min()
    climb = series - lowest.to_numpy()
    inside = runs >= 0
    best = np.full(low.size, -np.inf)
    np.maximum.at(best, runs[inside], climb[inside])
    seen = np.isfinite(best)
    out[seen] = np.where(best[seen] > BEYOND / 2, np.inf, best[seen])
    return out


WAKE_WINDOW = HOUR
NIGHT_BY_THE_CLOCK = (0, 6 * HOUR)


@dataclass(frozen=True, slots=True)
class Windows:
    """One window a day.

    Attributes:
        start, end: instants in seconds, the end not included.
        low, high: places of its first reading and one past its last.
        why: why there is no window, None where there is one.
    """

    start: Times
    end: Times
    low: NDArray[np.intp]
    high: NDArray[np.intp]
    why: tuple[Message | None, ...]

    @classmethod
    def over(
        cls, trace: Trace, start: Times, end: Times, why: tuple[Message | None, ...]
    ) -> Windows:
        """Return windows over a trace."""
        low = np.searchsorted(trace.at, start, side="left")
        high = np.maximum(np.searchsorted(trace.at, end, side="left"), low)
        return cls(start, end, low, high, why)


def own_windows(trace: Trace, days: Days, nights: Nights) -> Mapping[str, Windows]:
    """Return the windows ``wake``, ``night`` and ``day`` by the client's own sleep.

    The hour before waking; falling asleep to waking, or 00:00 to 06:00 where the main sleep is
    not known; waking to the next waking.
    """
    why = why_no_night(days, nights)
    midnight = _night_by_clock(days, trace.zones)
    asleep = np.array(
        [night.start if night else midnight[0][k] for k, night in enumerate(days.night)],
        dtype=np.int64,
    )
    woken = np.where(days.woke, days.start, midnight[1])
    every = (None,) * len(days)
    return {
        "wake": Windows.over(trace, days.start - WAKE_WINDOW, days.start, why),
        "night": Windows.over(trace, asleep, woken, every),
        "day": Windows.over(trace, days.start, days.end, every),
    }


def clock_windows(trace: Trace, days: Days, nights: Nights) -> Mapping[str, Windows]:
    """Return the same windows fixed by the clock: usual waking, 00:00 to 06:00, usual waking."""
    begin = trace.zones.instant(days.number * DAY + days.usual_wake)
    finish = trace.zones.instant((days.number + 1) * DAY + days.usual_wake)
    every = (None,) * len(days)
    why = (nights.none,) * len(days)
    night = _night_by_clock(days, trace.zones)
    return {
        "wake": Windows.over(trace, begin - WAKE_WINDOW, begin, why),
        "night": Windows.over(trace, night[0], night[1], every),
        "day": Windows.over(trace, begin, finish, every),
    }


def _night_by_clock(days: Days, zones: Zones) -> tuple[Times, Times]:
    begin, finish = (zones.instant(days.number * DAY + clock) for clock in NIGHT_BY_THE_CLOCK)
    return begin, finish


DAY_MIN = 1440


@dataclass(frozen=True, slots=True)
class Pieces:
    """The readings of a run of windows.

    Attributes:
        value, ordered, minutes: all readings, as in ``Trace``.
        shown: minutes, 0 where the sensor showed only LO or HI.
        above: which readings are above the client's range.
        low, high: place of the first reading of each window and one past its last.
        climb: the largest climb of the smoothed readings of each window, mg/dL.
    """

    value: Floats
    ordered: Floats
    minutes: Floats
    shown: Floats
    above: Mask
    low: NDArray[np.intp]
    high: NDArray[np.intp]
    climb: Floats

    def sums(self, amount: Floats) -> Floats:
        """Return the sum of an amount a reading over each window."""
        return sums(amount, self.low, self.high)

    def each(self, measure: Callable[[int, int], float]) -> Floats:
        """Return a number of the readings of each window, NaN for one without readings."""
        spans = zip(self.low.tolist(), self.high.tolist(), strict=True)
        return np.array([measure(a, b) if b > a else np.nan for a, b in spans], dtype=np.float64)


def sums(amount: Floats, low: NDArray[np.intp], high: NDArray[np.intp]) -> Floats:
    """Return the sum of an amount from each low to each high place, the high not included."""
    if not low.size:
        return np.zeros(0)
    places = np.stack([low, high], axis=1).ravel()
    summed = np.add.reduceat(np.append(amount, 0.0), places)[::2]
    return np.where(high > low, summed, 0.0)


def share(part: Floats, whole: Floats) -> Floats:
    """Return one amount over another, NaN where the other is none."""
    out = np.full(whole.shape, np.nan)
    np.divide(part, whole, out=out, where=whole > 0)
    return out


def _medians(pieces: Pieces) -> Floats:
    def median(low: int, high: int) -> float:
        ordered = np.sort(pieces.ordered[low:high])
        one, two = ordered[(high - low - 1) // 2], ordered[(high - low) // 2]
        return float((one + two) / 2) if np.isfinite(one) and np.isfinite(two) else np.inf

    return pieces.each(median)


def _means(pieces: Pieces) -> Floats:
    return share(pieces.sums(np.nan_to_num(pieces.value) * pieces.shown), pieces.sums(pieces.shown))


def weighted_mean(value: Floats, minutes: Floats) -> float:
    """Return the mean of readings weighted by the time they stand for."""
    return float((value * minutes).sum() / minutes.sum())


def weighted_sd(value: Floats, minutes: Floats) -> float:
    """Return the standard deviation with n - 1 of readings weighted by the time they stand for.

    Formula: sqrt(n / (n - 1) * sum w (x - m)^2 / sum w), m the weighted mean; with equal
    weights the sample standard deviation. NaN with fewer than two readings.
    """
    if value.size < 2:
        return float("nan")
    spread = weighted_mean((value - weighted_mean(value, minutes)) ** 2, minutes)
    return float(np.sqrt(spread * value.size / (value.size - 1)))


def _variability(pieces: Pieces) -> Floats:
    def spread(low: int, high: int) -> float:
        value, minutes = pieces.value[low:high], pieces.minutes[low:high]
        seen = ~np.isnan(value)
        return weighted_sd(value[seen], minutes[seen])

    return pieces.each(spread)


def _minutes_above(pieces: Pieces) -> Floats:
    above = pieces.sums(np.where(pieces.above, pieces.minutes, 0.0))
    return DAY_MIN * share(above, pieces.sums(pieces.minutes))


def _climbs(pieces: Pieces) -> Floats:
    return pieces.climb


OUTCOMES: Mapping[str, tuple[Callable[[Pieces], Floats], bool]] = {
    "wake_glucose": (_medians, True),
    "overnight_mean": (_means, False),
    "day_mean": (_means, False),
    "variability": (_variability, False),
    "minutes_above": (_minutes_above, True),
    "biggest_rise": (_climbs, True),
}
"""Each outcome's number, and whether LO and HI count as readings for it."""


def outcomes_over(
    trace: Trace,
    smooth: Floats,
    windows: Mapping[str, Windows],
    rules: Mapping[str, OutcomeRule],
    limit: float,
) -> dict[str, list[Found]]:
    """Return every outcome of the rule book over its windows.

    Args:
        trace: the readings.
        smooth: the smoothed readings.
        windows: by the name the rule book uses (wake, night, day).
        rules: the outcomes of a day.
        limit: upper end of the client's range, mg/dL.

    Raises:
        MinerError: the rule book names an outcome or a window that is not known.
    """
    above_range = above(trace.ordered, trace.tenths, limit)
    shown = np.where(np.isnan(trace.value), 0.0, trace.minutes)
    rows = {
        name: [trace.ends(a, b) for a, b in zip(own.low.tolist(), own.high.tolist(), strict=True)]
        for name, own in windows.items()
    }
    out = {}
    for name, rule in rules.items():
        _known(name, rule, windows)
        window = windows[rule.window]
        climbs = np.full(len(window.why), np.nan)
        if OUTCOMES[name][0] is _climbs:
            climbs = biggest_climbs(trace, smooth, window.low, window.high)
        pieces = Pieces(
            trace.value,
            trace.ordered,
            trace.minutes,
            shown,
            above_range,
            window.low,
            window.high,
            climbs,
        )
        out[name] = _found(window, rule.coverage, pieces, name, rows[rule.window])
    return out


def _known(name: str, rule: OutcomeRule, windows: Mapping[str, Windows]) -> None:
    if name not in OUTCOMES:
        raise MinerError(
            "tables.not_an_outcome_of_a_day",
            file="outcomes.toml",
            name=name,
            known=list(OUTCOMES),
            close=closest(name, OUTCOMES),
        )
    if rule.window not in windows:
        raise MinerError(
            "tables.window_unknown",
            file="outcomes.toml",
            name=name,
            window=rule.window,
            known=list(windows),
        )


def _found(
    window: Windows, least: float, pieces: Pieces, name: str, origins: list[tuple[Source, ...]]
) -> list[Found]:
    measure, with_censored = OUTCOMES[name]
    counted = pieces.sums(pieces.minutes if with_censored else pieces.shown).tolist()
    lengths = (window.end - window.start).tolist()
    numbers = measure(pieces).tolist()
    out = []
    for k, rows in enumerate(origins):
        reached = covered(counted[k], lengths[k])
        if (why := window.why[k]) is not None:
            out.append(unknown(why))
        elif reached < least:
            reached_need = {"share": percent(reached), "need": percent(least)}
            out.append(unknown(because("readings_of_window", **reached_need), rows))
        elif not isfinite(numbers[k]):
            out.append(unknown("beyond_the_sensor", rows))
        else:
            out.append(Found(numbers[k], rows=rows))
    return out
