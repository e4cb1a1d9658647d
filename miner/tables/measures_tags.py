"""The number behind a tag factor: how often a tag was noted on a day."""

from __future__ import annotations

from miner.tables.measures import DayRecords, Measure
from miner.tables.found import Found, unknown


def tagged(tag: str) -> Measure:
    """Return the measure of one tag.

    Before its first use a tag is unknown. After it a day without is "no" only where something,
    a meal or any tag, was logged that day.
    """

    def count(records: DayRecords, k: int) -> Found:
        by_day = records.tags.rows[tag]
        if k in by_day:
            return Found(float(len(by_day[k])), rows=by_day[k])
        if k < min(by_day):
            return unknown("before_first_use")
        logged = records.eaten[k].noted or k in records.tags.noted
        return Found(0.0) if logged else unknown("nothing_logged")

    return count
