"""The day table: one row a biological day, what was measured and done, and which can be used."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from math import isfinite
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from miner.core.messages import Message, MinerError, closest, message
from miner.records.client import Client
from miner.tables.cells import Found, because, unknown
from miner.tables.columns import DAY, HOUR, Floats, Times, Zones, covered, iso_day, percent
from miner.tables.glucose.published import published
from miner.tables.glucose.trace import BEYOND, Trace, Windows, weighted_sd
from miner.tables.measures import MEASURES, DayRecords, records_of, tagged
from miner.tables.sleep.nights import Days
from miner.tables.units import Rows, UnitSpecification

if TYPE_CHECKING:
    from miner.rulebook import OutcomeRule, RuleBook


WITHIN_MIN = 180
DAY_MIN = 1440
WAKE_WINDOW = HOUR
NIGHT_BY_THE_CLOCK = (0, 6 * HOUR)


def own_windows(records: DayRecords) -> Mapping[str, Windows]:
    """Return the windows ``wake``, ``night`` and ``day`` by the client's own sleep.

    The hour before waking; falling asleep to waking, or 00:00 to 06:00 where the main sleep is
    not known; waking to the next waking.
    """
    trace, days = records.trace, records.days
    midnight = _night_by_clock(days, trace.zones)
    asleep = np.array(
        [night.start if night else midnight[0][k] for k, night in enumerate(days.night)],
        dtype=np.int64,
    )
    woken = np.where(days.woke, days.start, midnight[1])
    return {
        "wake": Windows.over(trace, days.start - WAKE_WINDOW, days.start, records.no_night),
        "night": Windows.over(trace, asleep, woken),
        "day": Windows.over(trace, days.start, days.end),
    }


def clock_windows(records: DayRecords) -> Mapping[str, Windows]:
    """Return the same windows fixed by the clock: usual waking, 00:00 to 06:00, usual waking."""
    trace, days = records.trace, records.days
    begin = trace.zones.instant(days.number * DAY + days.usual_wake)
    finish = trace.zones.instant((days.number + 1) * DAY + days.usual_wake)
    why = (records.nights.none,) * len(days)
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


DAY_COVERAGE = 0.70
"""Share of a day that readings must cover. Source: Battelino et al. 2019, Diabetes Care 42:1593."""

HOURS_AFTER_A_JOURNEY = 72
EPOCH = date(1970, 1, 1)


def _coverage(trace: Trace, days: Days) -> Floats:
    """Return the share of each biological day that readings cover, LO and HI among them."""
    counted = Windows.over(trace, days.start, days.end).sums(trace.minutes).tolist()
    pairs = zip(counted, (days.end - days.start).tolist(), strict=True)
    return np.array([covered(minutes, size) for minutes, size in pairs], dtype=np.float64)


def told_left_out(client: Client, records: DayRecords, rules: RuleBook) -> list[Message | None]:
    """Return why each day is not used however many readings it has, None where it may be.

    Days are left out where ``client.toml`` says so, around a tag of illness, and for 72 hours
    after the clock moved by two hours or more.
    """
    told = {(item.day - EPOCH).days: item.reason for item in client.settings.left_out}
    ill = records.tags.illness_near(rules.cautions.illness_days_around)
    why: list[Message | None] = []
    for k, number in enumerate(records.days.number.tolist()):
        if number in told:
            why.append(message("tables.left_out_by_client", reason=told[number]))
        elif number in ill:
            why.append(message("tables.illness_noted", day=iso_day(ill[number])))
        else:
            why.append(_journey(records, k))
    return why


def _journey(records: DayRecords, k: int) -> Message | None:
    begin, finish = records.day(k)
    for at, hours in records.trace.zones.journeys():
        if begin < at + HOURS_AFTER_A_JOURNEY * HOUR and finish > at:
            about = {"hours": abs(hours), "after": HOURS_AFTER_A_JOURNEY}
            return message("tables.clock_moved", **about)
    return None


def _rows(client: Client, rules: RuleBook) -> Rows[DayRecords]:
    records = records_of(client, rules)
    days, trace = records.days, records.trace
    own, by_clock = own_windows(records), clock_windows(records)
    coverage = _coverage(trace, days)
    told = told_left_out(client, records, rules)
    asked = rules.outcomes_of("day"), client.settings.range[1]
    return Rows(
        records=records,
        names=days.names,
        number=days.number,
        start=days.start_clock,
        end=days.end_clock,
        sensor=[_main_sensor(trace, low, high) for low, high in own["day"].places],
        coverage=coverage,
        left_out=[why or _too_few_readings(coverage[k]) for k, why in enumerate(told)],
        more={},
        outcomes=outcomes_over(own, *asked),
        by_clock=outcomes_over(by_clock, *asked),
        context=published(own["day"]),
        noted={"tag": records.tags.habits},
    )


def _too_few_readings(share: float) -> Message | None:
    """Days are left out where readings cover under 70 % of them."""
    if share >= DAY_COVERAGE:
        return None
    return message("tables.readings_of_day", share=percent(share), need=percent(DAY_COVERAGE))


def _main_sensor(trace: Trace, low: int, high: int) -> str:
    if high <= low:
        return ""
    return trace.sensors[int(np.bincount(trace.sensor[low:high]).argmax())]


DAYS = UnitSpecification("day", _rows, MEASURES, {"tag": tagged})
