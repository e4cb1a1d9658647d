"""The outcomes of a day: their windows, and the share of each that must hold readings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import isfinite
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from miner.core.messages import MinerError, closest
from miner.tables.cells import Found, because, unknown
from miner.tables.columns import DAY, HOUR, Floats, Times, Zones, covered, percent
from miner.tables.glucose.trace import BEYOND, Trace, Windows, weighted_sd
from miner.tables.sleep.nights import Days, Nights, why_no_night

if TYPE_CHECKING:
    from miner.rulebook import OutcomeRule

WITHIN_MIN = 180
DAY_MIN = 1440
WAKE_WINDOW = HOUR
NIGHT_BY_THE_CLOCK = (0, 6 * HOUR)


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
    return {
        "wake": Windows.over(trace, days.start - WAKE_WINDOW, days.start, why),
        "night": Windows.over(trace, asleep, woken),
        "day": Windows.over(trace, days.start, days.end),
    }


def clock_windows(trace: Trace, days: Days, nights: Nights) -> Mapping[str, Windows]:
    """Return the same windows fixed by the clock: usual waking, 00:00 to 06:00, usual waking."""
    begin = trace.zones.instant(days.number * DAY + days.usual_wake)
    finish = trace.zones.instant((days.number + 1) * DAY + days.usual_wake)
    why = (nights.none,) * len(days)
    night = _night_by_clock(days, trace.zones)
    return {
        "wake": Windows.over(trace, begin - WAKE_WINDOW, begin, why),
        "night": Windows.over(trace, night[0], night[1]),
        "day": Windows.over(trace, begin, finish),
    }


def _night_by_clock(days: Days, zones: Zones) -> tuple[Times, Times]:
    begin, finish = (zones.instant(days.number * DAY + clock) for clock in NIGHT_BY_THE_CLOCK)
    return begin, finish


def _medians(window: Windows, _: float) -> Floats:
    def median(places: slice) -> float:
        ordered = np.sort(window.trace.ordered[places])
        one, two = ordered[(ordered.size - 1) // 2], ordered[ordered.size // 2]
        return float((one + two) / 2) if np.isfinite(one) and np.isfinite(two) else np.inf

    return window.each(median)


def _means(window: Windows, _: float) -> Floats:
    trace = window.trace
    return window.share(np.nan_to_num(trace.value) * trace.shown, trace.shown)


def _variability(window: Windows, _: float) -> Floats:
    trace = window.trace
    return window.each(lambda places: weighted_sd(trace.value[places], trace.minutes[places]))


def _minutes_above(window: Windows, limit: float) -> Floats:
    trace = window.trace
    above = np.where(trace.above(limit), trace.minutes, 0.0)
    return DAY_MIN * window.share(above, trace.minutes)


def _climbs(window: Windows, _: float) -> Floats:
    """Return, for each window, the largest climb to a later reading within 3 hours.

    Formula: max over j of s_j - min(s_i : i <= j, t_j - t_i <= 180 min, same sensor, same window),
    s smoothed: mg/dL, 0 where nothing climbs, NaN without readings, infinite where it starts or
    ends beyond what the sensor shows. Windows are in time order, none overlapping.
    """
    trace, places = window.trace, np.arange(window.trace.at.size)
    run = np.searchsorted(window.low, places, side="right") - 1
    order = np.lexsort((trace.at, trace.sensor, run))
    order = order[order < np.append(window.high, 0)[run[order]]]
    at, apart = trace.at[order], np.diff(run[order]) + np.abs(np.diff(trace.sensor[order])) > 0
    # one line of time on which readings of other sensors and windows are out of reach
    steps = np.where(apart, WITHIN_MIN * 60 + 1, np.diff(at))
    since = pd.to_timedelta(np.cumsum(np.append(0, steps))[: at.size], unit="s")
    smooth = pd.Series(trace.smooth[order], index=since)
    climbs = smooth - smooth.rolling(pd.Timedelta(minutes=WITHIN_MIN), closed="both").min()
    found = climbs.groupby(run[order]).max().reindex(range(window.low.size))
    return np.where(found > BEYOND / 2, np.inf, found.to_numpy(np.float64))


OUTCOMES: Mapping[str, tuple[Callable[[Windows, float], Floats], bool]] = {
    "wake_glucose": (_medians, True),
    "overnight_mean": (_means, False),
    "day_mean": (_means, False),
    "variability": (_variability, False),
    "minutes_above": (_minutes_above, True),
    "biggest_rise": (_climbs, True),
}
"""Each outcome's number, with the upper end of a client's range, and whether LO and HI count."""


def outcomes_over(
    windows: Mapping[str, Windows], rules: Mapping[str, OutcomeRule], limit: float
) -> dict[str, list[Found]]:
    """Return every outcome of the rule book over its windows.

    Args:
        windows: by the name the rule book uses (wake, night, day).
        rules: the outcomes of a day.
        limit: upper end of the client's range, mg/dL.

    Raises:
        MinerError: the rule book names an outcome or a window that is not known.
    """
    out = {}
    for name, rule in rules.items():
        about: dict[str, Any] = {"file": "outcomes.toml", "name": name}
        if name not in OUTCOMES:
            about |= {"known": list(OUTCOMES), "close": closest(name, OUTCOMES)}
            raise MinerError("tables.not_an_outcome_of_a_day", **about)
        if rule.window not in windows:
            about |= {"window": rule.window, "known": list(windows)}
            raise MinerError("tables.window_unknown", **about)
        out[name] = _found(windows[rule.window], rule.coverage, name, limit)
    return out


def _found(window: Windows, least: float, name: str, limit: float) -> list[Found]:
    measure, with_censored = OUTCOMES[name]
    trace = window.trace
    counted = window.sums(trace.minutes if with_censored else trace.shown).tolist()
    lengths = (window.end - window.start).tolist()
    numbers = measure(window, limit).tolist()
    out = []
    for k, places in enumerate(window.places):
        rows = trace.ends(*places)
        reached = covered(counted[k], lengths[k])
        if (why := window.why[k]) is not None:
            out.append(unknown(why))
        elif reached < least:
            share, need = percent(reached), percent(least)
            out.append(unknown(because("readings_of_window", share=share, need=need), rows))
        elif not isfinite(numbers[k]):
            out.append(unknown("beyond_the_sensor", rows))
        else:
            out.append(Found(numbers[k], rows=rows))
    return out
