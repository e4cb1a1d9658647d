"""The numbers behind the sleep factors: of the night that opens a day."""

from __future__ import annotations

from math import isnan

from miner.tables.clockwork import from_usual
from miner.tables.measures import DayRecords
from miner.tables.found import Found, because, unknown

FEWEST_NIGHTS_FOR_USUAL = 8


def asleep_hours(records: DayRecords, k: int) -> Found:
    """Hours asleep, or in bed where the tracker does not tell time asleep."""
    night = records.days.night[k]
    if night is None:
        return unknown(records.no_night[k] or "no_main_sleep")
    return Found(night.asleep_min / 60, rows=night.sources)


def awake_share(records: DayRecords, k: int) -> Found:
    """Minutes awake over minutes from falling asleep to waking."""
    night = records.days.night[k]
    if night is None:
        return unknown(records.no_night[k] or "no_main_sleep")
    if isnan(night.awake_min) or night.span_min <= 0:
        return unknown("no_time_awake", night.sources)
    return Found(night.awake_min / night.span_min, rows=night.sources)


def deep_share(records: DayRecords, k: int) -> Found:
    """Minutes of deep sleep over minutes asleep."""
    night = records.days.night[k]
    if night is None:
        return unknown(records.no_night[k] or "no_main_sleep")
    if isnan(night.deep_min) or not night.asleep_known or night.asleep_min <= 0:
        return unknown("no_deep_sleep", night.sources)
    return Found(night.deep_min / night.asleep_min, rows=night.sources)


def midpoint_later_than_usual(records: DayRecords, k: int) -> Found:
    """Minutes by which the midpoint of sleep is later than the client's median midpoint."""
    night = records.days.night[k]
    if night is None or records.usual_middle is None:
        return unknown(records.no_night[k] or "no_main_sleep")
    nights = len(records.nights.by_day)
    if nights < FEWEST_NIGHTS_FOR_USUAL:
        why = because("too_few_nights", n=nights, need=FEWEST_NIGHTS_FOR_USUAL)
        return unknown(why, night.sources)
    later = from_usual(night.middle_clock, records.usual_middle)
    return Found(float(later) / 60, rows=night.sources)
