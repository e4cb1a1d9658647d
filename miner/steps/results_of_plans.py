"""An alternating test read once, when it is over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from miner import ledger
from miner.core.messages import Message, MinerError, Words, by_rules, closest, message
from miner.core.results import PairsTest, PlanResult, Wording, worded
from miner.followup import planning as reading
from miner.followup.planning import drawn_in_time, drawn_late
from miner.followup.ticked import misplaced
from miner.ledger import PlanKept, as_written, plan_verdict, replay
from miner.records.client import Client
from miner.records.write.ticks import Ticks, read_ticks
from miner.rulebook import RuleBook
from miner.steps.kept import frozen_table, reached
from miner.steps.looks import as_first_seen, since
from miner.steps.past import read_past
from miner.steps.records import rules_of

NOTHING = PairsTest(0, None, None, None)
STATUSES = (reading.CHANGED, reading.NO_CHANGE, reading.UNSETTLED)


def result(
    client: Client,
    name: str,
    rules: RuleBook | None = None,
    *,
    stopped: bool = False,
    now: datetime | None = None,
) -> PlanResult:
    """Read an alternating test by the orders its own coins allow; once, and not before its date.

    Args:
        client: as read.
        name: of the plan.
        rules: the rule books.
        stopped: the client has stopped: read the pairs there are, and end the test. Before any
            pair is complete there is nothing to read: it ends without a verdict, and the idea
            may be planned anew. Past its date without a complete pair nothing is read either,
            and the plan stays open: records may still come.
        now: time of the ledger's entry.

    Raises:
        MinerError: there is no such plan, or it was given up.
    """
    books = rules_of(client, rules)
    past = read_past(client)
    item = _plan(past.book, name)
    if item.verdict is not None:
        return _as_written(item, books)
    if item.never_begun:
        return test_so_far(client, books, item)
    if item.kept.closed_at is not None:
        raise MinerError("steps.plan_dropped", name=name)
    found, over = _read(client, books, item, past.notes, stopped=stopped)
    if stopped and not found.pairs_used:
        return _never_begun(client, books, item, now)
    if found.status is None:
        return _worded(found, books, _unread(found, "no_pair" if over else "waiting"))
    written = found.to_dict() | {
        "kept_entry": item.kept.entry.n,
        "records_hash": client.records_hash,
    }
    ledger.append(client.folder, "verdict", written, now or datetime.now(UTC))
    return _as_written(_plan(read_past(client).book, name), books)


def test_so_far(client: Client, rules: RuleBook, item: PlanKept) -> PlanResult:
    """Return what was written of a test, or else how many pairs are complete, and no more.

    Args:
        client: as read.
        rules: the rule books.
        item: the plan, from the story of this client's ledger.
    """
    if item.verdict is not None:
        return _as_written(item, rules)
    found, over = _read(client, rules, item, (), opened=False)
    if item.never_begun:
        return _worded(replace(found, stopped_early=True), rules, "never_begun")
    due = "due" if found.pairs_used else "no_pair"
    if item.kept.closed_at is not None:
        return _worded(found, rules, "given_up")
    return _worded(found, rules, _unread(found, due if over else "waiting"))


def _worded(found: PlanResult, rules: RuleBook, unread: str = "") -> PlanResult:
    """Return a result with its wording.

    Args:
        found: as read.
        rules: the rule books.
        unread: what is said where there is no status: waiting, due, no_pair, all_late, given_up
            or never_begun.
    """
    return worded(found, Wording(rules, case=unread))


def _unread(found: PlanResult, otherwise: str) -> str:
    return "all_late" if found.late_pairs == found.planned_pairs else otherwise


def _never_begun(
    client: Client, rules: RuleBook, item: PlanKept, now: datetime | None
) -> PlanResult:
    """Write that a plan ended before any pair was complete, and return what to say."""
    written = {"kept_entry": item.kept.entry.n, "id": item.kept.id, "plan": item.name}
    ledger.append(client.folder, "dropped", written, now or datetime.now(UTC))
    return result(client, item.name, rules)


def _read(
    client: Client,
    rules: RuleBook,
    item: PlanKept,
    notes: tuple[Words, ...],
    *,
    stopped: bool = False,
    opened: bool = True,
    told: bool = True,
) -> tuple[PlanResult, bool]:
    """Return a test, and whether it is over; before that, or unopened, nothing of the outcome."""
    what, planned = item.kept.what, item.what
    table, frozen = frozen_table(client, rules, what)
    ticks = read_ticks(client.folder)
    rule = frozen.factor(planned.factor, table.unit)
    periods = planned.periods
    in_time = drawn_in_time(periods, item.entry.at)
    seen, differ = reading.read_pairs(
        table,
        in_time,
        outcome=what.outcome,
        offset_days=planned.offset_days,
        shown=reading.Shown(
            planned.factor if rule.change_shows else None,
            rule.helpful,
            planned.offset_days - what.lag_days[0],
        ),
        ticks=ticks.of(item.name),
    )
    over = stopped or reached(client, rules, table, planned.read_on)
    complete = [pair for pair in seen if pair.difference is not None]
    shown = over and opened and bool(complete)
    seed = planned.seed
    test = reading.test_of(seen, seed) if shown else NOTHING
    followed = reading.test_of([p for p in seen if p.followed], seed) if shown else NOTHING
    worth = float(planned.worth_having)
    changes = _changes(client, rules, item, frozen, stopped) if shown and told else ()
    found = PlanResult(
        plan=item.name,
        status=reading.status_of(test, worth) if shown else None,
        difference=test.difference,
        interval=test.interval,
        p=test.p,
        pairs_used=len(complete),
        pairs_not_followed=sum(not pair.followed for pair in complete),
        as_followed=followed,
        id=item.kept.id,
        factor=planned.factor,
        outcome=what.outcome,
        unit=planned.unit,
        unit_of=table.unit,
        worth_having=worth,
        read_on=planned.read_on,
        pairs=seen if shown else (),
        ticks_and_records_differ=differ,
        stopped_early=stopped,
        planned_pairs=planned.pairs,
        put_aside=item.abandoned_plans,
        late_pairs=(len(periods) - len(in_time)) // 2,
        notes=(*notes, *_late(rules, item), *changes, *_told(client, ticks, item)),
    )
    return found, over


def _as_written(item: PlanKept, rules: RuleBook) -> PlanResult:
    if item.verdict is None:
        raise MinerError("steps.verdict_not_written", name=item.name)
    with as_written("ledger.plan_verdict_unreadable", item.name):
        found = _from_entry(item.verdict.payload)
    found = replace(found, proven=item.verdict.trusted and item.entry.trusted)
    return _worded(found, rules)


def _from_entry(told: Mapping[str, Any]) -> PlanResult:
    found = plan_verdict(told)
    if found.status not in STATUSES:
        raise ValueError(found.status)
    return found


def _late(rules: RuleBook, item: PlanKept) -> tuple[Message, ...]:
    first, at = item.what.periods[0].first, item.entry.at
    if drawn_late(first, at):
        return (by_rules(rules, "wording.plan.late", drawn=at[:10]),)
    # by the entries above it, it may have been written after days it was to order
    back = drawn_late(first, item.entry.written_by)
    return (by_rules(rules, "wording.plan.clock_back"),) if back else ()


def _changes(
    client: Client, rules: RuleBook, item: PlanKept, books: RuleBook, stopped: bool
) -> tuple[Message, ...]:
    """Tell what was changed of the days of a test since somebody had looked at them."""
    planned = item.what
    first, until = planned.periods[0].first, planned.read_on
    after = (date.fromisoformat(first) - timedelta(days=1)).isoformat()
    found = since(client, read_past(client), after, until, item.entry.n)
    without = None
    if found.left_out:
        before = as_first_seen(client, found.left_out)
        other, _ = _read(before, rules, item, (), stopped=stopped, told=False)
        if other.status:
            without = by_rules(books, "labels.ended", status=other.status)
    return found.messages(books, without, planned.unit_of)


def _told(client: Client, ticks: Ticks, item: PlanKept) -> tuple[Message, ...]:
    plans = replay(ledger.read(client.folder)).plans
    found = (*ticks.findings, *misplaced(ticks, plans, item.name))
    return tuple(message("labels.finding", found=one, limit=400) for one in found)


def _plan(book: ledger.Ledger, name: str) -> PlanKept:
    story = replay(book)
    found = story.plan(name)
    if found is None:
        known = [one.name for one in story.plans]
        code = "steps.no_plan_to_read" if known else "steps.no_plan_written"
        raise MinerError(code, name=name, known=known, close=closest(name, known))
    return found
