"""Keeping a hypothesis to be judged on days that did not suggest it, and planning its test."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from miner import ledger
from miner.caseload.running import Progress
from miner.core.messages import MinerError, Words, by_rules, message
from miner.core.results import Plan
from miner.core.results.follow import KEPT_AS, LATEST_START, KeptResult
from miner.core.results.lengths import Lengths
from miner.followup.choosing import require_possible
from miner.followup.keeping import WAYS, KeepWish, RankedOn, entry_of
from miner.followup.lengths import lengths_of, without_habit
from miner.followup.planning import MIN_PAIRS, Wish, drawn_in_time, drawn_late, make_plan, plan_seed
from miner.followup.refusals import require_testable
from miner.followup.sizes import Scatter, meal_of, of_meal, scatter, sized, with_and_without
from miner.hypotheses.design import design
from miner.hypotheses.why import find
from miner.ledger import MAX_OPEN, FollowupState, FrozenIdea, Kept, PlanKept, replay
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.steps.checking import held_of
from miner.steps.client_ledger import ClientLedger, ledger_of
from miner.steps.following import frozen_table, kept_result, see
from miner.steps.looks import Looked, days_used, remember_look
from miner.steps.opening import last_day, opened, table_of
from miner.steps.ranking import rank
from miner.tables.unit_table import UnitTable

STOPS = ("stop_unwell", "stop_worry", "stop_ill", "missed")


def keep(
    client: Client,
    id_: str,
    as_: str,
    rules: RuleBook | None = None,
    *,
    read_on: date | None = None,
    note: str = "",
    now: datetime | None = None,
    progress: Progress | None = None,
) -> KeptResult:
    """Keep a ranked hypothesis, frozen, to be judged on days that did not suggest it.

    Args:
        client: as read; the present records are ranked, and all of their days count as seen.
        id_: as ``rank`` prints it.
        as_: "watch", "alternate" or "adopt".
        rules: the rule books.
        read_on: when it is read; by default when new days show what is looked for 80 times in
            100, within 14 to 120 days.
        note: words of one's own.
        now: time of the ledger's entry.
        progress: told what is being done and the share done.

    Raises:
        MinerError: no hypothesis has that ID, it has no direction, it or three others are open
            already, the date is too near, or the ledger cannot be written; or it must not be
            tested, or done anyway: a caution may hold it back as yet.
    """
    client, books = opened(client, rules)
    if as_ not in WAYS:
        raise MinerError("steps.no_such_way", way=as_, ways=WAYS)
    last = last_day(client, books) or ""
    past = ledger_of(client)
    source = _ranked(client, books, id_, remember=True, now=now, progress=progress)
    ranked, chosen = source.find(id_), {way: choice for choice, way in KEPT_AS.items()}
    require_possible(chosen[as_], ranked, source.table.unit, books, held_of(client, books))
    written = entry_of(
        source,
        ranked,
        KeepWish(as_, read_on, note),
        seen_to=past.seen_to(last),
        together=1 + sum(item.as_ == "watch" for item in replay(past.book).open_on(last)),
    )
    whole = written.payload() | ledger.whose(client.settings.code, client.folder)
    event = ledger.append(client.folder, "kept", whole, now)
    story = replay(ledger_of(client).book)
    item = story.at(event.n)
    if item is None:
        raise _no_room(story, last)
    seen = see(client, books, item, ledger_of(client)) if as_ == "watch" else None
    return kept_result(story, item, seen, books, last)


def plan(
    client: Client,
    id_: str,
    wish: Wish,
    rules: RuleBook | None = None,
    *,
    preview: bool = False,
    now: datetime | None = None,
    progress: Progress | None = None,
) -> Plan:
    """Plan an alternating test of one hypothesis; the client's records set its size.

    Args:
        client: as read.
        id_: a hypothesis kept as ``alternate``, or one that is ranked: it is kept so first.
        wish: when it begins, and what else was asked for.
        rules: the rule books.
        preview: show what it takes and write no plan. The order is not drawn: that is done
            once, when the plan is written, and shown then. Of what is not kept yet it is a look,
            as it shows which way the outcome differed.
        now: time of the ledger's entries.
        progress: told what is being done and the share done.

    Raises:
        MinerError: it must not be tested, it would take too long, it is watched or planned
            already, or the start is in the records.
    """
    client, books = opened(client, rules)
    _require_start(wish.start, last_day(client, books) or "")
    item, looked = _open(client, id_), tuple[Words, ...]()
    what: FrozenIdea
    if item is not None:
        what = item.what
    else:
        # a plan writes the ranking that it rests on, a preview the look at this one hypothesis:
        # even a refusal says which way the outcome differed
        source = _ranked(client, books, id_, remember=not preview, now=now, progress=progress)
        found = source.find(id_)
        if preview:
            seen = days_used(source.table)
            look = Looked("plan", source.table.unit, seen, found.factors, found.outcome)
            looked = remember_look(client, ledger_of(client), look, now)
        what = entry_of(source, found, KeepWish("alternate"), seen_to=last_day(client, books) or "")
    table, frozen = frozen_table(client, books, what)
    worse = frozen.outcome(what.outcome, table.unit).worse
    held, way = held_of(client, books), what.direction
    rule = require_testable(what.factors, table.unit, way, worse, frozen, held)
    changes = [stamp.date() for stamp in client.settings.sensor_changes]
    at, story = now or datetime.now(UTC), replay(ledger_of(client).book)
    aside = story.abandoned_plans(id_)
    worn = wish.sensor_days or client.settings.sensor_days
    wish = replace(wish, meal=meal_of(table, what, wish.meal), sensor_days=worn)
    own = _scatter(table, frozen, what, wish.meal)
    offered = lengths_of(
        what,
        rule,
        own,
        wish,
        sensor_changes=changes,
        together=1 + sum(each.as_ == "watch" for each in story.open_on(None)),
    )
    agreed = _pairs(wish, offered)
    own = without_habit(own, offered.contrast)
    size = sized(own, rule.carry_over_days, agreed or _longest(offered))

    def made(seed: int | None) -> Plan:
        drawn = make_plan(what, frozen, wish, size, seed=seed, sensor_changes=changes)
        stops = tuple(by_rules(books, f"wording.plan.{key}") for key in STOPS)
        when = _notes(books, wish.start, at, aside, drawn=seed is not None)
        notes = (*drawn.notes, *_assumed(wish, drawn, changes), *looked, *when)
        return replace(drawn, stop_rules=stops, notes=notes, put_aside=aside)

    undrawn = made(None)
    beside = _at_the_same_time(client, story, undrawn)
    if preview or agreed is None:
        told = (*undrawn.notes, *([beside.as_message()] if beside else []))
        return replace(undrawn, written=False, lengths=offered, notes=told)
    _require_days(undrawn, at, beside)
    if item is None:
        keep(client, id_, "alternate", books, now=now, progress=progress)
        item = _open(client, id_)
    if item is None:
        raise MinerError("steps.dropped_meanwhile", id=id_)
    return _write(client, made(plan_seed(item.entry.check)), item, at)


def _assumed(wish: Wish, drawn: Plan, known: Sequence[date]) -> tuple[Words, ...]:
    """Return that new sensors are planned by an assumed length of wear, where they are."""
    new = {*drawn.sensor_changes} - {day.isoformat() for day in known}
    if not new or wish.sensor_days is not None:
        return ()
    return (message("steps.sensor_days_assumed", days=wish.worn_days),)


def _scatter(table: UnitTable, rules: RuleBook, what: FrozenIdea, meal: str | None) -> Scatter:
    """Return how the units that are tested scatter; of meals also how often the habit came."""
    own = scatter(table, rules, what.outcome, meal or "")
    counts = with_and_without(of_meal(table, meal), what) if meal else None
    return replace(own, counts=counts)


def _at_the_same_time(client: Client, story: FollowupState, found: Plan) -> MinerError | None:
    """Return the refusal of a second test on days of one that runs, or None."""
    for item in story.open_on(None):
        other = item.plan_open()
        if other is None or item.id == found.id:
            continue
        first, last = other.what.periods[0].first, other.what.read_on
        if first <= found.read_on and found.periods[0].first <= last:
            return _stands(client, "steps.another_test", other)
    return None


def _require_days(found: Plan, at: datetime, beside: MinerError | None) -> None:
    if beside:
        raise beside
    if not drawn_in_time(found.periods, at.isoformat()):
        raise MinerError("steps.plan_all_past", day=found.periods[-1].last)


def _stands(client: Client, code: str, other: PlanKept) -> MinerError:
    """Return an error that names a plan that runs, its days and the client's folder."""
    first, last = other.what.periods[0].first, other.what.read_on
    name, id_ = other.name, other.kept.id
    return MinerError(code, id=id_, name=name, first=first, last=last, folder=client.folder)


def _pairs(wish: Wish, offered: Lengths) -> int | None:
    """Return how many pairs are asked for, or those of the shortest that finds what is expected.

    Raises:
        MinerError: the length asked for holds too few.
    """
    if wish.pairs is not None:
        return wish.pairs
    held = {one.name: one.pairs for one in offered.lengths}
    name = wish.length or offered.default
    if name is not None and name not in held:
        raise MinerError("steps.length_too_short", length=name, known=list(held))
    return None if name is None else held[name]


def _longest(offered: Lengths) -> int:
    """Return the pairs of the longest test; six where even those take longer than that."""
    return offered.lengths[-1].pairs if offered.lengths else MIN_PAIRS


def _notes(
    rules: RuleBook, start: date, at: datetime, aside: int, *, drawn: bool
) -> tuple[Words, ...]:
    """Return that its first day has passed, and that earlier orders were put aside."""
    told = []
    if drawn_late(start.isoformat(), at.isoformat()):
        key = "late" if drawn else "late_preview"
        day = message("steps.that_day", day=at.date().isoformat())
        told.append(by_rules(rules, f"wording.plan.{key}", drawn=day))
    if aside:
        count = message("steps.earlier_orders", count=aside)
        told.append(by_rules(rules, "wording.plan.put_aside", count=count))
    return tuple(told)


def _require_start(start: date, last: str) -> None:
    first = date.fromisoformat(last) + timedelta(days=1) if last else start
    latest = first + timedelta(days=LATEST_START)
    if not first <= start <= latest:
        code = "steps.start_in_records" if start < first else "steps.start_far_off"
        raise MinerError(code, day=start, first=first, last=latest)


def _write(client: Client, found: Plan, item: Kept, at: datetime) -> Plan:
    written = found.to_dict() | {"kept_entry": item.entry.n}
    written |= ledger.whose(client.settings.code, client.folder)
    event = ledger.append(client.folder, "planned", written, at)
    story = replay(ledger_of(client).book)
    if event.n in story.refused:
        stands = story.at(item.entry.n)
        if stands is None or not stands.plans:
            raise MinerError("steps.dropped_meanwhile", id=found.id)
        raise _stands(client, "steps.planned_already", stands.plans[-1])
    return found


def _open(client: Client, id_: str) -> Kept | None:
    """Return what is open under that ID, if it may be planned.

    Raises:
        MinerError: it is kept another way, or has a plan.
    """
    story = replay(ledger_of(client).book)
    item = next((one for one in story.open_on(None) if one.id == id_), None)
    if item is None:
        return None
    if item.as_ != "alternate":
        raise MinerError("steps.kept_otherwise", id=id_, way=item.as_)
    stands = item.plan_open()
    if stands is not None:
        raise _stands(client, "steps.planned_already", stands)
    return item


def _ranked(
    client: Client,
    rules: RuleBook,
    id_: str,
    *,
    remember: bool,
    now: datetime | None,
    progress: Progress | None,
) -> RankedOn:
    """Return the ranking that holds a hypothesis which may still be kept.

    Raises:
        MinerError: nothing holds it, or there is no room for it.
    """
    require_room(ledger_of(client), id_, last_day(client, rules) or "")
    unit = unit_holding(client, rules, id_)
    ranking = rank(
        client, rules, unit=unit, remember=remember, now=now, together=False, progress=progress
    )
    return RankedOn(client, rules, ranking, table_of(client, rules, unit))


def unit_holding(client: Client, rules: RuleBook, id_: str) -> str:
    """Return the unit, of days and meals, in which a hypothesis is; the practice's own first.

    Raises:
        MinerError: neither holds it.
    """
    own = client.settings.rank_unit
    refused: list[MinerError] = []
    for unit in (own, "meal" if own == "day" else "day"):
        try:
            find(design(table_of(client, rules, unit), rules), id_)
        except MinerError as error:
            refused.append(error)
        else:
            return unit
    raise next((one for one in refused if one.values.get("close")), refused[0])


def require_room(past: ClientLedger, id_: str, last: str) -> None:
    """Refuse a fourth open idea, or one that is open already.

    Raises:
        MinerError: with what is open.
    """
    story = replay(past.book)
    now_open = story.open_on(last)
    if any(item.id == id_ for item in now_open):
        raise MinerError("steps.kept_already", id=id_)
    if len(now_open) >= MAX_OPEN:
        raise _no_room(story, last)


def _no_room(story: FollowupState, last: str) -> MinerError:
    return MinerError("steps.no_room", most=MAX_OPEN, ids=[item.id for item in story.open_on(last)])
