"""Keeping a hypothesis, and reading it on days that did not suggest it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

from miner import ledger
from miner.core.messages import Message, MinerError, closest, message
from miner.core.results.follow import Following, KeptResult
from miner.followup import following as judging
from miner.followup.keeping import WAYS, KeepWish, RankedOn, entry_of, reworded
from miner.ledger import MAX_OPEN, FollowupState, is_day, replay
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.steps.kept import Seen, kept_result, last_day, see, unit_holding
from miner.steps.looks import as_first_seen
from miner.steps.past import Past, read_past, whose
from miner.steps.ranking import Progress, rank, table_of
from miner.steps.records import rules_of
from miner.steps.results_of_plans import test_so_far


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
            already, the date is too near, or the ledger cannot be written.
    """
    books = rules_of(client, rules)
    if as_ not in WAYS:
        raise MinerError("steps.no_such_way", way=as_, ways=WAYS)
    last = last_day(client, books) or ""
    past = read_past(client)
    require_room(past, id_, last)
    unit = unit_holding(client, books, id_)
    ranking = rank(
        client, books, unit=unit, remember=True, now=now, together=False, progress=progress
    )
    source = RankedOn(client, books, ranking, table_of(client, books, ranking.unit))
    written = entry_of(
        source,
        source.find(id_),
        KeepWish(as_, read_on, note),
        seen_to=_seen_to(past, last),
        together=1 + sum(item.as_ == "watch" for item in replay(past.book).open_on(last)),
    )
    whole = written.payload() | whose(client.settings, client.folder)
    event = ledger.append(client.folder, "kept", whole, now or datetime.now(UTC))
    story = replay(read_past(client).book)
    item = story.at(event.n)
    if item is None:
        raise _no_room(story, last)
    seen = see(client, books, item, read_past(client)) if as_ == "watch" else None
    return kept_result(story, item, seen, books, last)


def drop(client: Client, id_: str, *, now: datetime | None = None) -> Message:
    """Give up a kept hypothesis that has no verdict; it never gets one. Return what to say.

    Raises:
        MinerError: nothing of that ID is open, or the ledger cannot be written.
    """
    story = replay(read_past(client).book)
    now_open = story.open_on(None)
    item = next((one for one in now_open if one.id == id_), None)
    if item is None:
        known = [one.id for one in now_open]
        code = "steps.not_open" if known else "steps.nothing_open"
        raise MinerError(code, id=id_, known=known, close=closest(id_, known))
    written = {"kept_entry": item.entry.n, "id": id_}
    ledger.append(client.folder, "dropped", written, now or datetime.now(UTC))
    return message("steps.dropped", id=id_)


def follow(
    client: Client,
    rules: RuleBook | None = None,
    *,
    remember: bool = False,
    now: datetime | None = None,
) -> Following:
    """Read everything kept: counts before its date, from then on the one verdict it was given.

    An alternating test is told as it was read, or how far it is; ``result`` alone reads it.

    Args:
        client: as read.
        rules: the rule books; kept definitions stand in place of theirs.
        remember: write the verdict of what has reached its date; without, it is not told either.
        now: time of the ledger's entries.
    """
    books = rules_of(client, rules)
    past = read_past(client)
    story = replay(past.book)
    seen = {
        item.entry.n: see(client, books, item, past)
        for item in story.kept
        if item.as_ == "watch" and item.closed_at is None
    }
    unwritten = _settle(client, books, story, list(seen.values()), now) if remember else []
    notes = [*past.notes, *unwritten]
    story = replay(read_past(client).book)
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
            test = test_so_far(client, books, item.plans[-1])
            result = replace(result, test=test)
        kept.append(result)
    return Following(client.settings.code, last, tuple(kept), tuple(notes))


def require_room(past: Past, id_: str, last: str) -> None:
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


def _seen_to(past: Past, last: str) -> str:
    """Return the last day that the records or any look at them hold; no day of it is new."""
    days = [last]
    for kind in ledger.LOOKS:
        days += [str(event.payload.get("last_day")) for event in ledger.named(past.book, kind)]
    return max(day for day in days if day == last or is_day(day))


def _settle(
    client: Client, rules: RuleBook, story: FollowupState, seen: list[Seen], now: datetime | None
) -> list[Message]:
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
            other = see(before, rules, one.item, read_past(client))
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
        try:
            ledger.append(client.folder, "verdict", written, now or datetime.now(UTC))
        except ledger.LedgerUnwritable as error:
            return [message("steps.no_verdict_written", why=error.found)]
    return []


def _no_room(story: FollowupState, last: str) -> MinerError:
    return MinerError("steps.no_room", most=MAX_OPEN, ids=[item.id for item in story.open_on(last)])
