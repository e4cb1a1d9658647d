"""The day table: one row a biological day, what was measured and done, and which can be used."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd

from miner.core.messages import Message, message
from miner.records.client import Client
from miner.rulebook import Cautions, FactorRule, RuleBook
from miner.tables.cells import Columns, Found, cut
from miner.tables.columns import HOUR, Floats, covered, iso_day, percent, stamps
from miner.tables.glucose.outcomes import (
    Windows,
    clock_windows,
    outcomes_over,
    own_windows,
    smoothed,
    sums,
)
from miner.tables.glucose.published import published_by_day
from miner.tables.glucose.trace import Trace
from miner.tables.measures import MEASURES, DayRecords, measure_named, records_of, tagged
from miner.tables.sleep.nights import Days
from miner.tables.tag_days import Tags
from miner.tables.unit_table import UnitTable

DAY_COVERAGE = 0.70
"""Share of a day that readings must cover. Source: Battelino et al. 2019, Diabetes Care 42:1593."""

HOURS_AFTER_A_JOURNEY = 72
EPOCH = date(1970, 1, 1)


def coverage_of(trace: Trace, days: Days) -> Floats:
    """Return the share of each biological day that readings cover, LO and HI among them."""
    low = np.searchsorted(trace.at, days.start, side="left")
    high = np.searchsorted(trace.at, days.end, side="left")
    length = days.end - days.start
    counted = sums(trace.minutes, low, np.maximum(high, low))
    pairs = zip(counted.tolist(), length.tolist(), strict=True)
    return np.array([covered(minutes, size) for minutes, size in pairs], dtype=np.float64)


def left_out_days(
    client: Client, trace: Trace, days: Days, tags: Tags, cautions: Cautions
) -> list[Message | None]:
    """Return why each day is not used, None where it is.

    Days are left out where ``client.toml`` says so, around a tag of illness, for 72 hours after
    the clock moved by two hours or more, and where readings cover under 70 % of the day.
    """
    share = coverage_of(trace, days)
    told = told_left_out(client, trace, days, tags, cautions)
    return [item or _too_few_readings(float(share[k])) for k, item in enumerate(told)]


def told_left_out(
    client: Client, trace: Trace, days: Days, tags: Tags, cautions: Cautions
) -> list[Message | None]:
    """Return why each day is not used however many readings it has, None where it may be.

    Days are left out where ``client.toml`` says so, around a tag of illness, and for 72 hours
    after the clock moved by two hours or more.
    """
    told = {(item.day - EPOCH).days: item.reason for item in client.settings.left_out}
    ill = tags.illness_near(cautions.illness_days_around)
    why: list[Message | None] = []
    for k, number in enumerate(days.number.tolist()):
        if number in told:
            why.append(message("tables.left_out_by_client", reason=told[number]))
        elif number in ill:
            why.append(message("tables.illness_noted", day=iso_day(ill[number])))
        else:
            why.append(_journey(trace, days, k))
    return why


def _journey(trace: Trace, days: Days, k: int) -> Message | None:
    for at, hours in trace.zones.journeys():
        if days.start[k] < at + HOURS_AFTER_A_JOURNEY * HOUR and days.end[k] > at:
            about = {"hours": abs(hours), "after": HOURS_AFTER_A_JOURNEY}
            return message("tables.clock_moved", **about)
    return None


def _too_few_readings(share: float) -> Message | None:
    if share >= DAY_COVERAGE:
        return None
    return message("tables.readings_of_day", share=percent(share), need=percent(DAY_COVERAGE))


WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


KINDS = {"date": object, "rest_day": bool, "sensor": object, "usable": bool, "left_out": object}


def day_table(client: Client, rules: RuleBook) -> UnitTable:
    """Return one row a biological day: outcomes, factors, and where each came from.

    Args:
        client: the records as read.
        rules: the rule books; their outcomes and factors of a day become the columns.

    Raises:
        MinerError: the rule book asks for an outcome, window or measure that is not known.
    """
    return client.derived("day table", rules, lambda: _day_table(client, rules))


def _day_table(client: Client, rules: RuleBook) -> UnitTable:
    records = records_of(client, rules)
    days, trace = records.days, records.trace
    outcome_rules = rules.outcomes_of("day")
    own = own_windows(trace, days, records.nights)
    by_clock = clock_windows(trace, days, records.nights)
    smooth, limit = smoothed(trace), client.settings.range[1]
    why = left_out_days(client, trace, days, records.tags, rules.cautions)
    outcomes = Columns(days.names, outcomes_over(trace, smooth, own, outcome_rules, limit))
    again = Columns(days.names, outcomes_over(trace, smooth, by_clock, outcome_rules, limit))
    factors = Columns(days.names, _factors(records, rules, [item is None for item in why]))
    head = _head(client, trace, days, own["day"], why)
    return UnitTable(
        unit="day",
        frame=pd.concat([head, outcomes.frame(), factors.frame("decided")], axis=1),
        outcomes=tuple(outcomes.cells),
        factors=tuple(factors.cells),
        measures=factors.frame(),
        by_clock=again.frame(),
        reasons=outcomes.reasons() | factors.reasons("decided"),
        sources=outcomes.sources() | factors.sources(),
        context=published_by_day(trace, own["day"], head.index),
        replaced=client.replaced,
    )


def _factors(
    records: DayRecords, rules: RuleBook, usable: Sequence[bool]
) -> dict[str, list[Found]]:
    out = {}
    for name, rule in factor_rules(records, rules).items():
        tag = name.partition("tag:")[2]
        measure = tagged(tag) if tag else measure_named(rule.measure, name, MEASURES)
        found = [measure(records, k) for k in range(len(records.days))]
        out[name] = cut(found, rule, usable)
    return out


def factor_rules(records: DayRecords, rules: RuleBook) -> dict[str, FactorRule]:
    """Return the rule of every factor column: the rule book's order, then the client's tags."""
    listed = {name: rule for name, rule in rules.factors_of("day").items() if "*" not in name}
    if "tag:*" not in rules.factors:
        return listed
    tags = {f"tag:{tag}": rules.factor(f"tag:{tag}") for tag in records.tags.habits}
    return listed | tags


def _head(
    client: Client, trace: Trace, days: Days, window: Windows, why: Sequence[Message | None]
) -> pd.DataFrame:
    names = days.names
    return pd.DataFrame(
        {
            "date": list(names),
            "day_number": days.number,
            "start": stamps(days.start_clock),
            "end": stamps(days.end_clock),
            "rest_day": rest_days(client, names, days.number.tolist()),
            "sensor": [
                _main_sensor(trace, int(low), int(high))
                for low, high in zip(window.low, window.high, strict=True)
            ],
            "coverage": coverage_of(trace, days),
            "usable": [item is None for item in why],
            "left_out": [item or "" for item in why],
        },
        index=pd.Index(names, dtype=object, name="unit"),
    ).astype(KINDS)


def rest_days(client: Client, dates: Sequence[str], numbers: Sequence[int]) -> list[bool]:
    """Return which days the settings call rest days, by their date or the day of the week."""
    named = {str(item).casefold() for item in client.settings.rest_days}
    rest = named | {item[:3] for item in named if item[:3] in WEEKDAYS}
    days = [WEEKDAYS[(number + 3) % 7] for number in numbers]
    return [date in rest or day in rest for date, day in zip(dates, days, strict=True)]


def _main_sensor(trace: Trace, low: int, high: int) -> str:
    if high <= low:
        return ""
    return trace.sensors[int(np.bincount(trace.sensor[low:high]).argmax())]
