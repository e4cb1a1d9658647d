"""The story of a client's questions, from the ledger alone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from pathlib import Path
from typing import Any

from miner import ledger
from miner.core.messages import by_rules
from miner.core.results import Plan
from miner.core.results.follow import ChosenIdea
from miner.core.results.history import History, HistoryEntry
from miner.followup.choosing import standing
from miner.ledger import Event, FollowupState, as_written, replay
from miner.records.client import Client
from miner.records.write.notes import read_notes
from miner.rulebook import RuleBook
from miner.steps.client_ledger import folder_of, ledger_of, settings_of
from miner.steps.opening import rules_of


def history(client: Client | Path, rules: RuleBook | None = None) -> History:
    """Return what was fixed, searched, kept, tested and read, in the order of the ledger.

    An idea that was tried before is marked where it returns; an entry that came too late to count
    (a fourth idea at once, a second verdict) is reported as such.

    Args:
        client: as read, or a client folder, of which no record is read.
        rules: the rule books, for the words.
    """
    books = rules_of(folder_of(client), rules)
    past = ledger_of(client)
    story = replay(past.book)
    searches = {ledger.choices(event.payload) for event in ledger.named(past.book, "ranked")}
    return History(
        client=settings_of(client).code,
        searches=len(searches),
        fixed=len(ledger.questions(past.book)),
        entries=tuple(_entries(past.book.events, story, books)),
        notes=past.notes,
        written=read_notes(folder_of(client)),
    )


def _entries(
    events: Sequence[Event], story: FollowupState, rules: RuleBook
) -> Iterator[HistoryEntry]:
    """Yield every entry but the numbers of rankings; days looked at one by one are one entry."""
    told = (event for event in events if event.event != "numbered")
    for one_by_one, group in groupby(told, key=_is_one_day):
        if one_by_one:
            days = list(group)
            yield _entry(days[-1], story, rules, days=len(days))
        else:
            yield from (_entry(event, story, rules) for event in group)


def _is_one_day(event: Event) -> bool:
    return event.event == "looked" and event.payload.get("what") == "day"


def _entry(event: Event, story: FollowupState, rules: RuleBook, days: int = 1) -> HistoryEntry:
    told = event.payload
    kept = told if event.event in ("kept", "left") else _kept(story, event)
    id_ = str(kept.get("id") or told.get("id") or "") or None
    plan = story.plan(str(told.get("plan"))) if event.event == "planned" else None
    aside = plan.abandoned_plans if plan is not None and plan.entry is event else 0
    text = by_rules(
        rules,
        "labels.entry",
        event=event.event,
        told=told,
        kept=kept,
        ended=_ended(story, event, id_),
        put_aside=aside,
        refused=event.n in story.refused,
        days=days,
    )
    return HistoryEntry(event.n, event.at[:10], event.event, text, id_, event.trusted)


def _ended(story: FollowupState, event: Event, id_: str | None) -> str | None:
    """Return how the test of a verdict ended; of what is kept again, how it ended before."""
    if event.event == "verdict":
        item = story.of(event)
        settled = item is not None and item.verdict is event
        return item.ended if item and settled else str(event.payload.get("status"))
    before = story.tried(id_, event.n) if id_ and event.event == "kept" else None
    return before.ended if before else None


def _kept(story: FollowupState, event: Event) -> dict[str, object]:
    if event.event == "taken_up":
        left = next((one for one in story.left if one.taken_up is event), None)
        return dict(left.entry.payload) if left else {}
    item = story.of(event)
    return dict(item.entry.payload) if item else {}


def followup_state(folder: Path) -> FollowupState:
    """Return what the ledger of a client folder comes to: all that is kept, planned and read.

    Raises:
        MinerError: the ledger cannot be read.
    """
    return replay(ledger.read(folder))


def written_plan(client: Client | Path, name: str) -> Plan | None:
    """Return a plan as it was written, to show or print again; None where there is none.

    Args:
        client: as read, or its folder.
        name: of the plan.

    Raises:
        MinerError: its entry cannot be read.
    """
    found = replay(ledger_of(client).book).plan(name)
    if found is None:
        return None
    told: dict[str, Any] = {
        key: tuple(value) if isinstance(value, list) else value
        for key, value in found.entry.payload.items()
        if key in Plan.__dataclass_fields__
    }
    with as_written("ledger.plan_unreadable", name):
        return Plan(**told | {"periods": found.what.periods})


def chosen_now(client: Client | Path, *, last: str | None = None) -> dict[str, ChosenIdea]:
    """Return what is chosen now, by the ID of the pattern: what is open, then what was left.

    Args:
        client: as read, or its folder.
        last: ISO date of the last day of the records; what was adopted is open until its date.

    Raises:
        MinerError: the ledger cannot be read.
    """
    return standing(replay(ledger_of(client).book), last)
