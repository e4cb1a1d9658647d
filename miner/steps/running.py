"""What is kept or on test on one day: counted or not, which arm, which tick. Never a verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from miner import ledger
from miner.core.messages import Words, message
from miner.core.results.morning import OnTest
from miner.ledger import Kept, KeptEntry, PlanKept, replay
from miner.records.client import Client
from miner.records.write.ticks import read_ticks


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
    return _on_test(OnTest(item.id, item.as_, "", _named(item.what), usable, "", "", ""), why)


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
    reason = why or message("steps.first_day_of_period")
    arm, what = period.arm, _named(item.what)
    tick = ticks.get((plan.name, day), "missing")
    found = OnTest(item.id, "alternate", plan.name, what, counted, arm, tick, "")
    return _on_test(found, reason)


def _on_test(found: OnTest, why: Words) -> OnTest:
    """Return it with how the day counts for it; never whether it agrees."""
    code = "steps.day_counted" if found.counted else "steps.day_not_counted"
    said = [message(code, what=found.what, why=why)]
    if found.kind == "alternate" and found.arm:
        said.append(message("steps.arm_change" if found.arm == "change" else "steps.arm_usual"))
    if found.tick == "missing":
        said.append(message("steps.tick_missing"))
    elif found.tick:
        said.append(message("steps.ticked", tick=found.tick))
    return replace(found, sentence=message("steps.on_test", said=said))


def _named(what: KeptEntry) -> str:
    return f"{' and '.join(what.factors)} with {what.outcome}"
