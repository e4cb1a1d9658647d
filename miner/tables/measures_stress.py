"""The numbers behind the stress factors: stressed minutes of a day or a part of it."""

from __future__ import annotations

from miner.core.messages import Message
from miner.tables.clockwork import HOUR
from miner.tables.columns import Source
from miner.tables.measures import DayRecords
from miner.tables.found import Found, unknown
from miner.tables.measures_activity import why_tracker_off
from miner.tables.unfinished import at_least

NOON = 12 * HOUR
EVENING = 18 * HOUR


def stress_minutes(records: DayRecords, k: int) -> Found:
    """Stressed minutes from waking to falling asleep."""
    return _within(records, k, records.waking_day(k))


def morning_stress_minutes(records: DayRecords, k: int) -> Found:
    """Stressed minutes from waking to 12:00."""
    wake, asleep = records.waking_day(k)
    return _within(records, k, (wake, min(records.instant(k, NOON), asleep)))


def evening_stress_minutes(records: DayRecords, k: int) -> Found:
    """Stressed minutes from 18:00 to falling asleep."""
    wake, asleep = records.waking_day(k)
    return _within(records, k, (max(records.instant(k, EVENING), wake), asleep))


def _within(records: DayRecords, k: int, window: tuple[int, int]) -> Found:
    if window[1] <= window[0]:
        return unknown("asleep_then")
    if why := why_no_stress(records, k, window):
        return unknown(why)
    return stressed(records, window)


def why_no_stress(records: DayRecords, k: int, window: tuple[int, int]) -> Message | None:
    """Return why the stress records tell nothing about a window of a day, None if they do."""
    why = records.tracker.why_unknown("stress", window, records.day(k))
    sampled = "stress" in records.tracker.worn
    return why or (None if sampled else why_tracker_off(records, k))


def stressed(records: DayRecords, window: tuple[int, int], rows: tuple[Source, ...] = ()) -> Found:
    """Return the stressed minutes of a window, with the rows behind them after those given."""
    stress = records.stress
    minutes, found = stress.high.minutes(*window), rows + stress.high.rows(*window)
    doubt = stress.doubtful if stress.doubtful.touch(*window) else records.unfinished.stress
    return at_least("stress", doubt, window, minutes, found)
