"""The readings by time of day: overnight, morning, afternoon, evening."""

from __future__ import annotations

import numpy as np

from miner.core.results.briefing import TimeOfDay
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.tables import limits
from miner.tables.clockwork import DAY
from miner.tables.measures import records_of
from miner.tables.unit_table import UnitTable

PARTS = (("overnight", 0, 6), ("morning", 6, 12), ("afternoon", 12, 18), ("evening", 18, 24))
QUANTILES = (0.05, 0.25, 0.50, 0.75, 0.95)
FEWEST_READINGS = 12


def times_of_day(client: Client, table: UnitTable, rules: RuleBook) -> tuple[TimeOfDay, ...]:
    """Return the spread of the readings of each part of the day, by the wall clock.

    Only readings of usable days are counted. Minutes above the range are scaled to 24 measured
    hours: 1440 times the measured time above it, over the measured time.

    Args:
        client: as read.
        table: the client's day table.
        rules: the rule books.
    """
    records = records_of(client, rules)
    trace, days = records.trace, records.days
    if not len(days):
        return ()
    day = days.of(trace.at)
    usable = np.append(table.frame["usable"].to_numpy(dtype=bool), False)
    counted = usable[day] & (day >= 0)
    hour = trace.clock % DAY // 3600
    over = limits.above(trace.ordered, trace.tenths, client.settings.range[1])
    found = []
    for name, first, last in PARTS:
        here = counted & (hour >= first) & (hour < last)
        seen = trace.value[here & ~np.isnan(trace.value)]
        enough = seen.size >= FEWEST_READINGS
        measured, above = trace.minutes[here], over[here]
        found.append(
            TimeOfDay(
                name,
                first,
                last,
                np.unique(day[here]).size,
                tuple(np.quantile(seen, QUANTILES).tolist()) if enough else None,
                float(1440 * measured[above].sum() / measured.sum()) if enough else None,
            )
        )
    return tuple(found)
