"""Which days can be used, and why the others cannot."""

from __future__ import annotations

from datetime import date

import numpy as np

from miner.core.messages import Message, message
from miner.records.client import Client
from miner.rulebook import Cautions
from miner.tables.biological_days import Days
from miner.tables.clockwork import HOUR, Floats, iso_day
from miner.tables.glucose.outcomes import covered, percent, sums
from miner.tables.glucose.trace import Trace
from miner.tables.tag_days import Tags

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
