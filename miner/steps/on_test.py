"""What is kept or on test on one day: whether the day counts for it, never whether it agrees."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from miner import ledger
from miner.core.messages import Message, Words, message
from miner.core.results.morning import OnTest
from miner.ledger import Kept, KeptEntry, PlanKept, replay
from miner.records.client import Client
from miner.records.write.ticks import read_ticks
from miner.rulebook import RuleBook
from miner.steps.checking import pauses_of_plan


def running(
    client: Client, day: str, rules: RuleBook, *, usable: bool, why: str
) -> tuple[OnTest, ...]:
    """Return everything kept or on test that this day belongs to.

    The day is an ISO date; whether it counts in a ranking, and why it does not, is known.
    """
    story = replay(ledger.read(client.folder))
    ticks = read_ticks(client.folder).by_day
    found = []
    for item in story.open_on(day):
        plan = item.plan_open()
        if plan is not None:
            paused = any(each.covers(day) for each in pauses_of_plan(client, rules, plan))
            reason = message("steps.test_is_paused") if paused else why
            one = _planned(item, plan, day, ticks, usable=usable and not paused, why=reason)
        else:
            one = _watched(item, day, usable, why)
        found.append(one)
    return tuple(one for one in found if one is not None)


def _watched(item: Kept, day: str, usable: bool, why: str) -> OnTest | None:
    since = item.what.suggested_by_days_to
    if item.as_ == "alternate" or day <= since:
        return None
    found = OnTest(item.id, item.as_, "", _named(item.what), usable, "", "", "")
    return _on_test(found, item.what, why)


def _planned(
    item: Kept,
    plan: PlanKept,
    day: str,
    ticks: Mapping[tuple[str, str], str],
    *,
    usable: bool,
    why: Words,
) -> OnTest | None:
    period = next((one for one in plan.what.periods if one.first <= day <= one.last), None)
    if period is None:
        return None
    first = period.first == day and period.leave_out_days > 0
    counted = usable and not first
    reason = why or message("steps.first_day_of_period")
    arm = period.arm
    tick = ticks.get((plan.name, day), "missing")
    found = OnTest(item.id, "alternate", plan.name, _named(item.what), counted, arm, tick, "")
    return _on_test(found, item.what, reason)


def _on_test(found: OnTest, kept: KeptEntry, why: Words) -> OnTest:
    """Return it with how the day counts for it; never whether it agrees."""
    code = "steps.day_counted" if found.counted else "steps.day_not_counted"
    said = [message(code, what=_in_words(kept), why=why)]
    if found.kind == "alternate" and found.arm:
        said.append(message("steps.arm_change" if found.arm == "change" else "steps.arm_usual"))
    if found.tick == "missing":
        said.append(message("steps.tick_missing"))
    elif found.tick:
        said.append(message("steps.ticked", tick=found.tick))
    return replace(found, sentence=message("steps.on_test", said=said))


def _named(what: KeptEntry) -> str:
    return f"{' and '.join(what.factors)} with {what.outcome}"


def _in_words(kept: KeptEntry) -> Message | str:
    """Return a kept idea in the words it was kept with; an entry without any by its names."""
    habits = [kept.definitions.factors.get(name, {}).get("phrase") for name in kept.factors]
    label = kept.definitions.outcome.get("label")
    if not label or not all(habits):
        return _named(kept)
    return message("steps.kept_in_words", habits=habits, label=label)
