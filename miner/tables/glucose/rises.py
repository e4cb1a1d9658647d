"""Finds the rises in one person's glucose readings: where each began, how high, how long."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd


def incremental_area(
    minutes: Floats,
    values: Floats,
    baseline: float,
    until: float = 120.0,
    *,
    longest_gap: float = np.inf,
) -> float:
    """Return the incremental area above a baseline from minute 0 to ``until``.

    Straight lines between readings; only what is above the baseline counts, and where the line
    crosses it the triangle is cut at the crossing: over a step of ``h`` minutes from ``a`` above
    to ``b`` below it adds ``h a^2 / (2 (a + b))``.

    Args:
        minutes: minutes after the start (readings before 0 and after ``until`` serve to draw the
            line there), any order.
        values: one value a minute given, any unit; NaN is no reading.
        baseline: in the unit of ``values``.
        until: minutes after the start at which the area ends.
        longest_gap: the longest stretch in minutes over which a line may be drawn.

    Returns:
        Unit of ``values`` times minutes; NaN where the readings do not reach from 0 to ``until``,
        or leave a longer gap between.

    Raises:
        ValueError: the arrays differ in length, or ``until`` is negative.

    Source: FAO Food and Nutrition Paper 66 (1998), annex 1; ISO 26642:2010 (neither text was
    read; the rule after Wolever and Jenkins 1986, Am J Clin Nutr 43:167).
    """
    minutes, values = np.asarray(minutes, float), np.asarray(values, float)
    if minutes.shape != values.shape or until < 0:
        raise ValueError("unusable values")
    known = np.isfinite(minutes) & np.isfinite(values)
    order = np.argsort(minutes[known], kind="stable")
    t, v = minutes[known][order], values[known][order]
    if not len(t) or t[0] > 0 or t[-1] < until or not np.isfinite(baseline):
        return float("nan")
    used = slice(max(np.searchsorted(t, 0, "right") - 1, 0), np.searchsorted(t, until) + 1)
    if np.any(np.diff(t[used]) > longest_gap):
        return float("nan")
    inside = (t > 0) & (t < until)
    x = np.concatenate(([0.0], t[inside], [until]))
    d = np.interp(x, t, v) - baseline
    above, below = np.maximum(d, 0), np.maximum(-d, 0)
    summed, apart = above[:-1] + above[1:], below[:-1] + below[1:]
    share = np.divide(summed, summed + apart, out=np.zeros_like(summed), where=summed > 0)
    return float(np.sum(np.diff(x) * summed * share / 2))


Floats = npt.NDArray[np.float64]
_NS_A_MINUTE = 60e9


def running_median(minutes: Floats, values: Floats, window_min: float) -> Floats:
    """Return the median of the readings within half a window of each reading.

    Args:
        minutes: ascending, any spacing.
        values: one value a minute given.
        window_min: width of the window in minutes; at a wider cadence nothing changes.
    """
    if not len(minutes) or window_min <= 0:
        return np.array(values, float)
    since = pd.to_timedelta(np.round((minutes - minutes[0]) * _NS_A_MINUTE).astype("int64"))
    window = pd.Timedelta(round(window_min * _NS_A_MINUTE), unit="ns")
    rolling = pd.Series(values, index=since).rolling(window, center=True, closed="both")
    return rolling.median().to_numpy(float)


def turning_points(values: Floats, least: float) -> tuple[tuple[int, int], ...]:
    """Return the climbs of a series as (trough, peak) pairs of indices.

    A peak counts when the series falls by ``least`` after it, and a trough when it climbs by
    ``least`` after it: inside the series these are the peaks whose topographic prominence is at
    least ``least``. Of equal lows the last is the trough, of equal highs the first is the peak.
    The last climb is returned though the series ends before it falls.

    Args:
        values: a series without gaps.
        least: the smallest turn that counts, in the unit of ``values``, above 0.
    """
    climbs: list[tuple[int, int]] = []
    low = high = 0
    rising = falling = False
    for i, value in enumerate(values.tolist()):
        if not rising and value <= values[low]:
            low = i
        if not falling and value > values[high]:
            high = i
        if not rising and value - values[low] >= least:
            rising, falling, high = True, False, i
        elif not falling and values[high] - value >= least:
            if rising:
                climbs.append((low, high))
            rising, falling, low = False, True, i
    if rising:
        climbs.append((low, high))
    return tuple(climbs)


@dataclass(frozen=True, slots=True)
class Rise:
    """One rise, from the smoothed readings. Times are minutes on the clock of the readings.

    Attributes:
        start: where the climb begins: its low point, or later where glucose only drifted up.
        peak: where the climb ends: its highest point, or earlier where glucose only drifts up from
            there; of two hills told as one, the higher.
        baseline: glucose at the start.
        height: glucose at the peak minus the baseline.
        back: when it had come back to within the stated share of its height above the baseline;
            NaN where it was cut before.
        area: incremental area above the baseline over ``area_min`` minutes from the start.
        area_min: the minutes it covers: fewer than asked where it was cut by food, gap or end.
        hills: how many peaks were reported as this one rise.
        meal: when the meal it goes with was logged: the last within ``meal_before_min`` before
            the start, else the first before the peak; NaN where none was.
        unlogged: high enough to expect a meal, and none logged around it.
        start_seen: False where the readings begin at its start, so it may have begun before.
        peak_seen: False where the readings end before they turn down, so it may go higher.
        cut_by: "" or what came before it was back: "meal", "rise", "gap" or "end" (of the data).
    """

    start: float
    peak: float
    baseline: float
    height: float
    back: float
    area: float
    area_min: float
    hills: int
    meal: float
    unlogged: bool
    start_seen: bool
    peak_seen: bool
    cut_by: str

    @property
    def time_to_peak(self) -> float:
        """Minutes from start to peak."""
        return self.peak - self.start


@dataclass(frozen=True, slots=True)
class RiseRule:
    """What counts as a rise. Lengths in minutes, glucose in the unit of the readings.

    Attributes:
        smooth_min: width of the running median.
        height: the least climb from the start to the peak.
        level: what climbs no faster than this a minute is no climb.
        prominence: the least dip, below what climbs at that rate, that parts two hills at all.
        drift: what climbs more slowly than this share of the fastest rate comes before the start,
        drift_most: and what climbs faster than this a minute does not.
        fastest_min: the fastest rate is the largest climb within this time, over this time.
        merge_recovery: two hills are one rise where the dip gives back less than this share
        merge_most: and is less deep than this.
        longest_gap_min: a longer stretch without readings cuts.
        back_share: the share of the height above the baseline at which it counts as back.
        area_min: how long the area runs.
        unlogged_height: the least height at which a meal is expected.
        meal_before_min: how long before the start its meal may have been logged.
        same_meal_min: entries this close after its meal belong to it.
    """

    smooth_min: float = 15
    height: float = 18
    level: float = 5 / 60
    prominence: float = 10
    drift: float = 0.4
    drift_most: float = 1 / 3
    fastest_min: float = 30
    merge_recovery: float = 0.25
    merge_most: float = 20
    longest_gap_min: float = 20
    back_share: float = 0.1
    area_min: float = 120
    unlogged_height: float = 30
    meal_before_min: float = 60
    same_meal_min: float = 30


def find_rises(
    minutes: Floats, glucose: Floats, meals: Floats | None = None, **thresholds: float
) -> tuple[Rise, ...]:
    """Return the rises in time order.

    The readings are smoothed, cut at gaps, and split into climbs from a low point to a high one,
    all seen against a line that climbs at ``level``, with a fall of ``prominence`` against that
    line between: by a dip, or by staying level long enough. A climb is one with the rise before it
    where it is not larger than that rise, and the dip between gives back less than
    ``merge_recovery`` of it and less than ``merge_most``, food or not; the peak is then the higher
    one. The fastest climb is the largest between low point and peak from a reading to
    ``fastest_min`` later, by straight lines between the readings, at most up to the peak; its rate
    is that over ``fastest_min``. The rise starts, from the low point to where the fastest climb
    ends, where glucose is lowest under a line that climbs from the low point at ``drift`` times
    that rate, at most at ``drift_most``: of equal points the last. What climbs less than ``height``
    from there is no rise.

    Args:
        minutes: when each reading was taken, any spacing, any order.
        glucose: the readings, any one unit (the defaults are mg/dL); NaN is no reading.
        meals: when food was logged, on the same clock; None and NaN are none.
        thresholds: any of the fields of ``RiseRule``.

    Raises:
        ValueError: the arrays differ in length.

    Source: common practice, no source; no standard rule was found.
    """
    rule = RiseRule(**thresholds)
    minutes, glucose = np.asarray(minutes, float), np.asarray(glucose, float)
    if minutes.shape != glucose.shape:
        raise ValueError("lengths differ")
    known = np.isfinite(minutes) & np.isfinite(glucose)
    order = np.argsort(minutes[known], kind="stable")
    t, raw = minutes[known][order], glucose[known][order]
    eaten = np.sort(np.asarray([] if meals is None else meals, float))
    eaten = eaten[np.isfinite(eaten)]
    ends = np.flatnonzero(np.diff(t) > rule.longest_gap_min) + 1
    found: list[Rise] = []
    for piece in np.split(np.arange(len(t)), ends):
        if len(piece):
            smooth = running_median(t[piece], raw[piece], rule.smooth_min)
            last = bool(piece[-1] == len(t) - 1)
            found += _rises_of_piece(t[piece], smooth, eaten, rule, last)
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Hills:
    """Climbs told as one: index of the low point, of the highest and of the last peak."""

    low: int
    highest: int
    last: int
    count: int


def _rises_of_piece(
    t: Floats, v: Floats, meals: Floats, rule: RiseRule, last: bool
) -> Iterator[Rise]:
    told = [
        (hills, start)
        for hills in _merged(t, v, rule)
        if v[hills.highest] - v[start := _start(t, v, hills, rule)] >= rule.height
    ]
    for i, (hills, start) in enumerate(told):
        following = told[i + 1][0] if i + 1 < len(told) else None
        limit = following.low if following else len(t) - 1
        ending = "rise" if following else "end" if last else "gap"
        yield _measured(t, v, meals, rule, hills, start, limit, ending)


def _merged(t: Floats, v: Floats, rule: RiseRule) -> list[_Hills]:
    told: list[_Hills] = []
    for low, peak in turning_points(v - rule.level * (t - t[0]), rule.prominence):
        first = told[-1] if told else None
        if first is not None and _one_rise(v, rule, first, low, peak):
            highest = peak if v[peak] > v[first.highest] else first.highest
            told[-1] = _Hills(first.low, highest, peak, first.count + 1)
        else:
            told.append(_Hills(low, peak, peak, 1))
    return told


def _one_rise(v: Floats, rule: RiseRule, first: _Hills, low: int, peak: int) -> bool:
    height = v[first.highest] - v[first.low]
    given_back = v[first.highest] - v[low]
    shallow = given_back < min(rule.merge_recovery * height, rule.merge_most)
    return bool(v[peak] - v[low] <= height and shallow)


def _start(t: Floats, v: Floats, hills: _Hills, rule: RiseRule) -> int:
    since = t[hills.low : hills.highest + 1] - t[hills.low]
    climb = v[hills.low : hills.highest + 1]
    later = np.interp(since + rule.fastest_min, since, climb) - climb
    fastest = int(later.argmax())
    rate = min(rule.drift * later[fastest] / rule.fastest_min, rule.drift_most)
    under = (climb - rate * since)[since <= since[fastest] + rule.fastest_min]
    return hills.low + int(np.flatnonzero(under == under.min())[-1])


def _measured(
    t: Floats,
    v: Floats,
    meals: Floats,
    rule: RiseRule,
    hills: _Hills,
    begin: int,
    limit: int,
    ending: str,
) -> Rise:
    start, peak = t[begin], t[hills.highest]
    baseline, height = v[begin], v[hills.highest] - v[begin]
    meal, following = _meals(meals, start, peak, rule)
    back = _back(t, v, hills.last, limit, baseline + rule.back_share * height)
    end = t[limit]
    fallen = v[hills.highest] - (v - rule.level * (t - peak))[hills.highest :].min()
    if following <= min(end, back):
        ending, back = "meal", np.nan
    elif np.isfinite(back):
        ending = ""
    covered = float(min(rule.area_min, following - start, t[-1] - start))
    return Rise(
        start=float(start),
        peak=float(peak),
        baseline=float(baseline),
        height=float(height),
        back=float(back),
        area=incremental_area(t - start, v, float(baseline), covered),
        area_min=covered,
        hills=hills.count,
        meal=meal,
        unlogged=bool(height >= rule.unlogged_height and not np.isfinite(meal)),
        start_seen=begin > 0,
        peak_seen=bool(fallen >= rule.prominence),
        cut_by=ending,
    )


def _meals(meals: Floats, start: float, peak: float, rule: RiseRule) -> tuple[float, float]:
    before = meals[(meals >= start - rule.meal_before_min) & (meals <= start)]
    during = meals[(meals > start) & (meals <= peak)]
    own = [*before[-1:], *during[:1]]
    meal = float(own[0]) if own else np.nan
    after = meals[meals > max(start, meal + rule.same_meal_min if own else start)]
    return meal, float(after[0]) if len(after) else np.inf


def _back(t: Floats, v: Floats, peak: int, limit: int, level: float) -> float:
    low = np.flatnonzero(v[peak : limit + 1] <= level)
    if not len(low):
        return float("nan")
    i = peak + int(low[0])
    if i == peak:
        return float(t[peak])
    share = (v[i - 1] - level) / (v[i - 1] - v[i])
    return float(t[i - 1] + share * (t[i] - t[i - 1]))
