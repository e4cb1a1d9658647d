"""The day table: one row a biological day, what was measured and done, and which can be used."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from miner.core.messages import Message, message
from miner.records.client import Client
from miner.tables.columns import HOUR, Floats, covered, iso_day, percent
from miner.tables.glucose.outcomes import clock_windows, outcomes_over, own_windows
from miner.tables.glucose.published import published
from miner.tables.glucose.trace import Trace, Windows
from miner.tables.measures import MEASURES, DayRecords, records_of, tagged
from miner.tables.sleep.nights import Days
from miner.tables.units import Rows, UnitSpecification

if TYPE_CHECKING:
    from miner.rulebook import RuleBook

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
    own = own_windows(trace, days, records.nights)
    by_clock = clock_windows(trace, days, records.nights)
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
