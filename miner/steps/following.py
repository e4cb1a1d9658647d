"""What new days say of everything kept: a verdict once, an alternating test as it was read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from miner import ledger
from miner.core.messages import Message, MinerError, Words, by_rules, closest, message
from miner.core.results import PairsTest, PlanResult, Since, Wording, worded
from miner.core.results.follow import LEAVE, Following, FollowPicture, KeptResult
from miner.followup import following as judging
from miner.followup import planning as reading
from miner.followup.choosing import standing
from miner.followup.following import Fresh, each_day, fresh
from miner.followup.keeping import as_kept, reworded, thaw
from miner.followup.pausing import pairs_left_out
from miner.followup.picture import picture_of_new, picture_of_test
from miner.followup.planning import drawn_in_time, drawn_late
from miner.followup.sizes import of_meal
from miner.followup.ticked import misplaced
from miner.ledger import (
    FollowupState,
    FrozenIdea,
    Kept,
    PlanKept,
    VerdictEntry,
    as_written,
    plan_verdict,
    replay,
)
from miner.records.client import Client
from miner.records.write.ticks import Ticks, read_ticks
from miner.rulebook import RuleBook
from miner.steps.checking import pauses_of_plan, pauses_told
from miner.steps.client_ledger import ClientLedger, ledger_of
from miner.steps.looks import add_entry, as_first_seen, since, without_seen
from miner.steps.opening import last_day, opened, reached, table_of
from miner.steps.ticking import days_not_ticked, last_whole_day
from miner.tables.measures import records_of
from miner.tables.unit_table import UnitTable


def follow(
    client: Client,
    rules: RuleBook | None = None,
    *,
    remember: bool = False,
    now: datetime | None = None,
) -> Following:
    """Read everything kept: counts before its date, from then on the one verdict it was given.

    An alternating test is reported as it was read, or how far it is; ``result`` alone reads it.

    Args:
        client: as read.
        rules: the rule books; kept definitions replace theirs.
        remember: write the verdict of what has reached its date; without, it is not told either.
        now: time of the ledger's entries.
    """
    client, books = opened(client, rules)
    past = ledger_of(client)
    story = replay(past.book)
    seen = {
        item.entry.n: see(client, books, item, past)
        for item in story.kept
        if item.as_ == "watch" and item.closed_at is None
    }
    unwritten = _settle(client, books, story, list(seen.values()), now) if remember else ()
    notes = [*past.notes, *unwritten]
    story = replay(ledger_of(client).book)
    last = last_day(client, books) if story.kept else None
    kept = []
    for item in story.kept:
        one = seen.get(item.entry.n)
        result = kept_result(story, item, one, books, last)
        result = replace(result, reworded=reworded(client, item.what))
        if one is not None and result.status == judging.WAITING:
            together = len(judging.followed_together(item, story))
            look = judging.every_look(item, one.looks(), together)
            result = replace(result, every_look=look)
        if item.plans:
            result = replace(result, test=test_so_far(client, books, item.plans[-1]))
        kept.append(replace(result, picture=_picture(client, books, item, result, past)))
    left = tuple(one for one in standing(story, last).values() if one.choice == LEAVE)
    whole = last_whole_day(records_of(client, books)) if story.kept else None
    return Following(
        client.settings.code,
        last,
        tuple(kept),
        tuple(notes),
        left,
        not_ticked=days_not_ticked(client.folder, whole),
    )


def _picture(
    client: Client, rules: RuleBook, item: Kept, found: KeptResult, past: ClientLedger
) -> FollowPicture | None:
    """Return what a verdict is seen by in the records as they are, or None before there is one."""
    if found.test is not None and found.test.status is not None:
        table, books = frozen_table(client, rules, item.what)
        return picture_of_test(table, books, item.what, item.plans[-1].what, found.test.pairs)
    if found.status not in judging.ENDED:
        return None
    seen = see(client, rules, item, past)
    return picture_of_new(seen.table, seen.rules, item.what)


def drop(client: Client, id_: str, *, now: datetime | None = None) -> Message:
    """Give up a kept hypothesis that has no verdict; it never gets one. Return what to say.

    Raises:
        MinerError: nothing of that ID is open, or the ledger cannot be written.
    """
    story = replay(ledger_of(client).book)
    now_open = story.open_on(None)
    item = next((one for one in now_open if one.id == id_), None)
    if item is None:
        known = [one.id for one in now_open]
        code = "steps.not_open" if known else "steps.nothing_open"
        raise MinerError(code, id=id_, known=known, close=closest(id_, known))
    written = {"kept_entry": item.entry.n, "id": id_}
    ledger.append(client.folder, "dropped", written, now)
    return message("steps.dropped", id=id_)


def _settle(
    client: Client, rules: RuleBook, story: FollowupState, seen: list[Seen], now: datetime | None
) -> tuple[Message, ...]:
    """Write a verdict for everything whose date is reached; return what could not be done."""
    due = [one for one in seen if one.reached]
    p = {one.item.entry.n: one.found.p(judging.sign(one.item.what)) for one in due}
    for one in due:
        together = judging.followed_together(one.item, story)
        others = [
            p.get(other.entry.n, judging.known_p(other))
            for other in together
            if other is not one.item
        ]
        others = [1.0 if q != q else q for q in others]
        told = judging.judge(one.item, one.found, others)
        without = None
        if one.since.left_out:
            before = as_first_seen(client, one.since.left_out)
            other = see(before, rules, one.item, ledger_of(client))
            without = judging.judge(one.item, other.found, others).status
        written = {
            "kept_entry": one.item.entry.n,
            "id": one.item.id,
            "status": told.status,
            "difference": told.difference,
            "interval": told.interval,
            "p": told.p,
            "p_adjusted": told.p_adjusted,
            "together": len(together),
            "reason": told.reason,
            "new_units": one.found.units,
            "counts": judging.new_units(one.found).to_dict(),
            "read_on": one.item.what.read_on,
            "records_hash": client.records_hash,
            "since": replace(one.since, without=without).to_dict(),
        }
        if untold := add_entry(client, "verdict", written, now):
            return untold
    return ()


@dataclass(frozen=True, slots=True)
class Seen:
    """A watched hypothesis: its table and rule books, its new units, what was changed of them."""

    item: Kept
    table: UnitTable
    rules: RuleBook
    found: Fresh
    reached: bool
    since: Since

    def looks(self) -> Iterator[tuple[str, Fresh]]:
        """Return what a look on every day so far would have seen of its new units."""
        what = self.item.what
        after, until = what.suggested_by_days_to, what.read_on
        return each_day(self.table, self.rules, what, after, until, judging.FIRST_LOOK)


def frozen_table(client: Client, rules: RuleBook, kept: FrozenIdea) -> tuple[UnitTable, RuleBook]:
    """Return the client's units made with the kept definitions, and the rule books with them."""
    books = thaw(kept, rules)
    return table_of(as_kept(client, kept), books, kept.unit_of), books


def see(client: Client, rules: RuleBook, item: Kept, past: ClientLedger) -> Seen:
    """Return what these records hold of a watched hypothesis."""
    table, books = frozen_table(client, rules, item.what)
    after, until = item.what.suggested_by_days_to, item.what.read_on
    changes = since(client, past, after, until, item.entry.n)
    table = without_seen(table, changes.seen)
    changes = replace(changes, over_before=_over_before(table, after, until, item.entry.written_by))
    found = fresh(table, books, item.what, after, until)
    return Seen(item, table, books, found, reached(client, rules, table, until), changes)


def _over_before(table: UnitTable, after: str, until: str, written: str) -> int:
    """Return how many new units are of days that had passed when it was kept."""
    frame = table.frame
    dates = frame["date"][frame["usable"].to_numpy(dtype=bool)].astype(str)
    return int(((dates > after) & (dates <= until) & (dates < written[:10])).sum())


def kept_result(
    story: FollowupState, item: Kept, seen: Seen | None, rules: RuleBook, last: str | None
) -> KeptResult:
    """Return what may be shown of one kept hypothesis: a verdict only as it was written.

    Args:
        story: the whole ledger.
        item: what was kept.
        seen: its new units, where it is watched.
        rules: the rule books.
        last: last day of the records.
    """
    what, books = item.what, seen.rules if seen else thaw(item.what, rules)
    with as_written("ledger.verdict_unreadable", item.id):
        told = _told(item, seen)
    before = story.tried(item.id, item.entry.n)
    result = KeptResult(
        id=item.id,
        as_=item.as_,
        kept_on=item.entry.at[:10],
        **{name: getattr(what, name) for name in AS_KEPT},
        unit=str(what.definitions.outcome["measure_unit"]),
        sought=what.sought_then,
        smallest_worth_it=float(what.smallest_worth_it),
        proven=item.entry.trusted and (item.verdict is None or item.verdict.trusted),
        tried_before=None if before is None else before.ended,
        open=item.open_on(last),
        **told,
    )
    return worded(result, Wording(books, case="" if item.dropped is None else "dropped"))


AS_KEPT = (
    "suggested_by_days_to",
    "read_on",
    "factors",
    "lag_days",
    "outcome",
    "unit_of",
    "direction",
    "expected",
    "power",
    "note",
    "shape",
    "span",
)
IN_VERDICT = ("status", "difference", "interval", "p", "p_adjusted", "counts", "since")


def _told(item: Kept, seen: Seen | None) -> dict[str, Any]:
    if item.as_ == "watch" and item.verdict is not None:
        written = VerdictEntry.read(item.verdict.payload)
        if written.status not in judging.ENDED:
            raise ValueError(written.status)
        told = {name: getattr(written, name) for name in IN_VERDICT}
        return told | {"new_units": written.new_units or 0, "reason": written.reason or ""}
    if item.as_ != "watch" or seen is None or item.dropped is not None:
        return {}
    return {
        "new_units": seen.found.units,
        "status": judging.WAITING,
        "counts": judging.new_units(seen.found),
        "reason": message("steps.verdict_unwritten") if seen.reached else "",
    }


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
    """Read an alternating test by the orders that could have been drawn, once, from its date on.

    Args:
        client: as read.
        name: of the plan.
        rules: the rule books.
        stopped: the client has stopped: read the pairs there are, and end the test. Before any
            pair is complete there is nothing to read: it ends without a verdict, and the idea
            may be planned again. Past its date without a complete pair nothing is read either,
            and the plan stays open: records may still come.
        now: time of the ledger's entry.

    Raises:
        MinerError: there is no such plan, or it was given up.
    """
    client, books = opened(client, rules)
    past = ledger_of(client)
    item = _plan(past.book, name)
    if item.verdict is not None:
        return _as_written(item, books)
    if item.never_begun:
        return test_so_far(client, books, item)
    if item.kept.closed_at is not None:
        raise MinerError("steps.plan_dropped", name=name)
    found, over = _read(client, books, item, past.notes, stopped=stopped)
    if found.paused and stopped and found.pairs_used:
        about: dict[str, Any] = {"name": name, "id": item.kept.id, "folder": client.folder}
        raise MinerError("steps.paused_not_read", why=found.pauses[-1], **about)
    if stopped and not found.pairs_used:
        return _never_begun(client, books, item, now)
    if found.status is None:
        return _worded(found, books, _unread(found, "no_pair" if over else "waiting"))
    written = found.to_dict() | {
        "kept_entry": item.kept.entry.n,
        "records_hash": client.records_hash,
    }
    ledger.append(client.folder, "verdict", written, now)
    return _as_written(_plan(ledger_of(client).book, name), books)


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
        unread: what is said where there is no status: waiting, due, no_pair, all_late,
            none_counts, paused, given_up or never_begun.
    """
    return worded(found, Wording(rules, case=unread))


def _unread(found: PlanResult, otherwise: str) -> str:
    """Return which sentence is said of a test that was not read."""
    if found.paused:
        return "paused"
    if found.late_pairs + found.paused_pairs == found.planned_pairs:
        return "none_counts" if found.paused_pairs else "all_late"
    return otherwise


def _never_begun(
    client: Client, rules: RuleBook, item: PlanKept, now: datetime | None
) -> PlanResult:
    """Write that a plan ended before any pair was complete, and return what to say."""
    written = {"kept_entry": item.kept.entry.n, "id": item.kept.id, "plan": item.name}
    ledger.append(client.folder, "dropped", written, now)
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
    pauses = pauses_of_plan(client, rules, item)
    left_out = pairs_left_out(in_time, pauses)
    seen, differ = reading.read_pairs(
        of_meal(table, planned.meal),
        [one for one in in_time if one.pair not in left_out],
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
    paused = any(not one.until for one in pauses)
    shown = over and opened and bool(complete) and not paused
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
        paused=paused,
        paused_pairs=len(left_out),
        pauses=pauses_told(client, rules, item),
        notes=(*notes, *_late(rules, item), *changes, *_of_ticks(client, ticks, item)),
    )
    return found, over


def _as_written(item: PlanKept, rules: RuleBook) -> PlanResult:
    if item.verdict is None:
        raise MinerError("steps.verdict_not_written", name=item.name)
    with as_written("ledger.plan_verdict_unreadable", item.name):
        found = plan_verdict(item.verdict.payload)
        if found.status not in STATUSES:
            raise ValueError(found.status)
    found = replace(found, proven=item.verdict.trusted and item.entry.trusted)
    return _worded(found, rules)


def _late(rules: RuleBook, item: PlanKept) -> tuple[Message, ...]:
    first, at = item.what.periods[0].first, item.entry.at
    if drawn_late(first, at):
        return (by_rules(rules, "wording.plan.late", drawn=message("steps.that_day", day=at[:10])),)
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
    found = since(client, ledger_of(client), after, until, item.entry.n)
    without = None
    if found.left_out:
        before = as_first_seen(client, found.left_out)
        other, _ = _read(before, rules, item, (), stopped=stopped, told=False)
        if other.status:
            without = by_rules(books, "labels.ended", status=other.status)
    return found.messages(books, without, planned.unit_of)


def _of_ticks(client: Client, ticks: Ticks, item: PlanKept) -> tuple[Message, ...]:
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
