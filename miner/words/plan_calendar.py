"""A plan as a calendar file (RFC 5545) with titles that say nothing to others."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

from miner.core.results import Plan

LETTERS = {"change": "A", "usual": "B"}


def plan_calendar(plan: Plan) -> bytes:
    """Return one all-day event a period, and one a sensor change; the same plan, the same bytes.

    Titles are "A", "B" and "S"; what they stand for is on the client's page alone.

    Args:
        plan: what ``plan`` returned.

    Source: RFC 5545, sections 3.4, 3.6.1 and 3.8.
    """
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", "-//miner//plan//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    stamp = datetime.combine(date.fromisoformat(plan.periods[0].first), time(), UTC)
    for period in plan.periods:
        calendar.add_component(_event(
            f"{plan.plan}-{period.number}", LETTERS[period.arm], period.first, period.last, stamp
        ))  # fmt: skip
    for number, day in enumerate(plan.sensor_changes, 1):
        calendar.add_component(_event(f"{plan.plan}-s{number}", "S", day, day, stamp))
    out: bytes = calendar.to_ical()
    return out


def _event(uid: str, title: str, first: str, last: str, stamp: datetime):  # type: ignore[no-untyped-def]
    from icalendar import Event

    event = Event()
    event.add("uid", f"{uid}@plan.invalid")
    event.add("dtstamp", stamp)
    event.add("dtstart", date.fromisoformat(first))
    event.add("dtend", date.fromisoformat(last) + timedelta(days=1))
    event.add("summary", title)
    event.add("class", "PRIVATE")
    event.add("transp", "TRANSPARENT")
    return event
