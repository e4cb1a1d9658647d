"""An alternating test: planned before it begins."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from miner import ledger
from miner.core.messages import MinerError, Words, by_rules, message
from miner.core.results import Plan
from miner.followup.keeping import KeepWish, RankedOn, entry_of
from miner.followup.planning import Wish, drawn_late, make_plan, plan_seed
from miner.followup.refusals import require_testable
from miner.ledger import FrozenIdea, Kept, replay
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.steps.following import keep, require_room
from miner.steps.kept import frozen_table, last_day, unit_holding
from miner.steps.looks import remember_look
from miner.steps.past import read_past, whose
from miner.steps.ranking import Progress, rank, table_of
from miner.steps.records import days, rules_of
from miner.tables import cautions

LATEST_START = 183
STOPS = ("stop_unwell", "stop_worry", "stop_ill", "missed")


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
        preview: show what it takes and write no plan. The order is not drawn: the coins are
            thrown once, when it is written, and shown then. Of what is not kept yet it is a look,
            as it shows which way the outcome differed.
        now: time of the ledger's entries.
        progress: told what is being done and the share done.

    Raises:
        MinerError: it must not be tested, it would take too long, it is watched or planned
            already, or the start lies in the records.
    """
    books = rules_of(client, rules)
    _require_start(wish.start, last_day(client, books) or "")
    item, looked = _open(client, id_), tuple[Words, ...]()
    if item is None:
        what, looked = _as_ranked(client, books, id_, preview, now, progress)
    else:
        what = item.what
    table, frozen = frozen_table(client, books, what)
    worse = frozen.outcome(what.outcome, table.unit).worse
    said, _ = cautions(client, days(client, books), books)
    factors, way = what.factors, what.direction
    require_testable(factors, table.unit, way, worse, frozen, said)
    changes = [stamp.date() for stamp in client.settings.sensor_changes]
    at, aside = now or datetime.now(UTC), replay(read_past(client).book).abandoned_plans(id_)

    def made(seed: int | None) -> Plan:
        found = make_plan(table, frozen, what, wish, seed=seed, sensor_changes=changes)
        stops = tuple(by_rules(books, f"wording.plan.{key}") for key in STOPS)
        notes = (
            *found.notes,
            *looked,
            *_notes(books, wish.start, at, aside, drawn=seed is not None),
        )
        return replace(found, stop_rules=stops, notes=notes, put_aside=aside)

    found = made(None)
    if preview:
        return replace(found, written=False)
    if item is None:
        keep(client, id_, "alternate", books, now=now, progress=progress)
        item = _open(client, id_)
    if item is None:
        raise MinerError("steps.dropped_meanwhile", id=id_)
    return _write(client, made(plan_seed(item.entry.check)), item, at)


def _notes(
    rules: RuleBook, start: date, at: datetime, aside: int, *, drawn: bool
) -> tuple[Words, ...]:
    """Return that its first day has passed, and that earlier orders were put aside."""
    told = []
    if drawn_late(start.isoformat(), at.isoformat()):
        key = "late" if drawn else "late_preview"
        told.append(by_rules(rules, f"wording.plan.{key}", drawn=at.date()))
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
    written |= whose(client.settings, client.folder)
    event = ledger.append(client.folder, "planned", written, at)
    story = replay(read_past(client).book)
    if event.n in story.refused:
        raise _planned_already(found.id, story.at(item.entry.n))
    return found


def _open(client: Client, id_: str) -> Kept | None:
    """Return what is open under that ID, if it may be planned.

    Raises:
        MinerError: it is kept another way, or has a plan.
    """
    story = replay(read_past(client).book)
    item = next((one for one in story.open_on(None) if one.id == id_), None)
    if item is None:
        return None
    if item.as_ != "alternate":
        raise MinerError("steps.kept_otherwise", id=id_, way=item.as_)
    if item.plan_open() is not None:
        raise _planned_already(id_, item)
    return item


def _as_ranked(
    client: Client,
    rules: RuleBook,
    id_: str,
    preview: bool,
    now: datetime | None,
    progress: Progress | None,
) -> tuple[FrozenIdea, tuple[Words, ...]]:
    """Return what would be kept of a ranked hypothesis, and notes.

    A plan writes the ranking that it rests on, a preview the look at this one hypothesis: even a
    refusal says which way the outcome differed.
    """
    past, last = read_past(client), last_day(client, rules) or ""
    require_room(past, id_, last)
    unit = unit_holding(client, rules, id_)
    ranking = rank(
        client, rules, unit=unit, remember=not preview, now=now, together=False, progress=progress
    )
    source = RankedOn(client, rules, ranking, table_of(client, rules, unit))
    found = source.find(id_)
    looked: tuple[Words, ...] = ()
    if preview:
        asked = (found.factors, found.outcome)
        looked = remember_look(client, past, source.table, "plan", *asked, now)
    return entry_of(source, found, KeepWish("alternate"), seen_to=last), looked


def _planned_already(id_: str, item: Kept | None) -> MinerError:
    name = item.plans[-1].name if item and item.plans else ""
    return MinerError("steps.planned_already", id=id_, name=name)
