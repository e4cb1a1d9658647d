"""What is kept or on test on one day: counted or not, which arm, which tick. Never a verdict."""

from __future__ import annotations

from collections.abc import Mapping

from miner import ledger
from miner.core.results.morning import OnTest
from miner.ledger import Kept, KeptEntry, PlanKept, replay
from miner.records.client import Client
from miner.records.write.ticks import read_ticks
from miner.words.morning_words import on_test_words


def running(client: Client, day: str, *, usable: bool, why: str) -> tuple[OnTest, ...]:
    """Return everything kept or on test that this day belongs to.

    Args:
        client: as read.
        day: ISO date.
        usable: whether the day counts in a ranking.
        why: why it does not.
    """
    story = replay(ledger.read(client.folder))
    ticks = read_ticks(client.folder).by_day
    found = []
    for item in story.open_on(day):
        plan = item.plan_open()
        if plan is not None:
            one = _planned(item, plan, day, ticks, usable, why)
        else:
            one = _watched(item, day, usable, why)
        if one is not None:
            found.append(one)
    return tuple(found)


def _watched(item: Kept, day: str, usable: bool, why: str) -> OnTest | None:
    since = item.what.suggested_by_days_to
    if item.as_ == "alternate" or day <= since:
        return None
    what = _named(item.what)
    text = on_test_words(item.as_, what, usable, "", "", why)
    return OnTest(item.id, item.as_, "", what, usable, "", "", text)


def _planned(
    item: Kept,
    plan: PlanKept,
    day: str,
    ticks: Mapping[tuple[str, str], str],
    usable: bool,
    why: str,
) -> OnTest | None:
    period = next((one for one in plan.what.periods if one.first <= day <= one.last), None)
    if period is None:
        return None
    first = period.first == day and period.leave_out_days > 0
    counted = usable and not first
    reason = why or "the first day of a period is left out"
    arm, what = period.arm, _named(item.what)
    tick = ticks.get((plan.name, day), "missing")
    text = on_test_words("alternate", what, counted, arm, tick, reason)
    return OnTest(item.id, "alternate", plan.name, what, counted, arm, tick, text)


def _named(what: KeptEntry) -> str:
    return f"{' and '.join(what.factors)} with {what.outcome}"
