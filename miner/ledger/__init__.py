"""The ledger of one client: an append-only file in which an edited or lost line is reported.

Replayed, it says what is kept, what is open and which verdicts count. Entries are taken in the
order of the ledger, whatever the clock said. Two programs may write at the same moment; so what
may not be (a fourth idea, a second verdict) is decided here, by the order of the entries, and a
later reading comes to the same answer.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

from miner.core.facts import Result
from miner.core.unit import Shape
from miner.ledger.entries import (
    FrozenIdea,
    KeptEntry,
    LeftEntry,
    PlanEntry,
    VerdictEntry,
    as_written,
    is_day,
    plan_verdict,
)
from miner.ledger.line import NAME, SCHEMA, Event
from miner.ledger.reading import BACK, Ledger, LedgerUnwritable, append, owned, read, whose

__all__ = [
    "LOOKS",
    "MAX_OPEN",
    "NAME",
    "SCHEMA",
    "SETTINGS",
    "Event",
    "FixedQuestion",
    "FollowupState",
    "FrozenIdea",
    "Kept",
    "KeptEntry",
    "Ledger",
    "LedgerUnwritable",
    "Left",
    "LeftEntry",
    "PlanEntry",
    "PlanKept",
    "VerdictEntry",
    "append",
    "as_written",
    "choices",
    "is_day",
    "named",
    "owned",
    "plan_verdict",
    "questions",
    "rankings",
    "read",
    "replay",
    "whose",
]

MAX_OPEN = 3


@dataclass(slots=True)
class Kept:
    """One kept hypothesis and what has become of it.

    Attributes:
        entry: its line of the ledger; ``what`` was kept in it.
        verdict: the line that settled it, or None.
        dropped: the line that gave it up, or None.
        plans: its alternating tests, in order.
    """

    entry: Event
    verdict: Event | None = None
    dropped: Event | None = None
    plans: list[PlanKept] = field(default_factory=list)
    what: KeptEntry = field(init=False)

    def __post_init__(self) -> None:
        self.what = KeptEntry.read(self.entry.payload)

    @property
    def id(self) -> str:
        """The hypothesis."""
        return self.what.id

    @property
    def as_(self) -> str:
        """How it was kept: watch, alternate or adopt."""
        return self.what.as_

    @property
    def closed_at(self) -> int | None:
        """Number of the entry that closed it, or None."""
        closing = self.verdict or self.dropped
        return None if closing is None else closing.n

    def open_on(self, day: str | None) -> bool:
        """Say whether it is open when the records end on that day."""
        if self.closed_at is not None:
            return False
        return not (self.as_ == "adopt" and day and day > self.what.read_on)

    @property
    def ended(self) -> str | None:
        """How it ended: the status of its verdict, ``changed_worse`` for a change for the worse."""
        if self.verdict is None:
            return None
        told = self.verdict.payload
        difference = told.get("difference")
        if told.get("status") != "changed" or not isinstance(difference, int | float):
            return str(told.get("status"))
        higher = self.what.definitions.outcome.get("worse", "higher") == "higher"
        return "changed_worse" if (difference > 0) == higher else "changed"

    def plan_open(self) -> PlanKept | None:
        """Return its plan that has no verdict yet, or None."""
        return next((plan for plan in self.plans if plan.verdict is None), None)


@dataclass(slots=True)
class PlanKept:
    """One alternating test, its verdict, and how many of the same idea were given up before it."""

    entry: Event
    kept: Kept
    verdict: Event | None = None
    abandoned_plans: int = 0
    what: PlanEntry = field(init=False)

    def __post_init__(self) -> None:
        self.what = PlanEntry.read(self.entry.payload)

    @property
    def name(self) -> str:
        """The name it was given."""
        return self.what.plan

    @property
    def never_begun(self) -> bool:
        """Whether it was stopped before any pair was complete."""
        dropped = self.kept.dropped
        return dropped is not None and dropped.payload.get("plan") == self.name


@dataclass(slots=True)
class Left:
    """One hypothesis that was left, and the line that took it up again, or None."""

    entry: Event
    taken_up: Event | None = None
    what: LeftEntry = field(init=False)

    def __post_init__(self) -> None:
        self.what = LeftEntry.read(self.entry.payload)

    @property
    def id(self) -> str:
        """The hypothesis."""
        return self.what.id


@dataclass(frozen=True, slots=True)
class FollowupState:
    """What the ledger comes to.

    Attributes:
        kept: what was kept, in order.
        refused: numbers of the entries that came too late or are not whole.
        left: what was left, in order, taken up again or not.
    """

    kept: tuple[Kept, ...]
    refused: frozenset[int]
    left: tuple[Left, ...] = ()

    @property
    def still_left(self) -> tuple[Left, ...]:
        """Return what was left and not taken up again."""
        return tuple(item for item in self.left if item.taken_up is None)

    def open_on(self, day: str | None) -> tuple[Kept, ...]:
        """Return what is open when the records end on that day."""
        return tuple(item for item in self.kept if item.open_on(day))

    def at(self, n: int) -> Kept | None:
        """Return what the entry of that number kept, or None where it was refused."""
        return next((item for item in self.kept if item.entry.n == n), None)

    def of(self, event: Event) -> Kept | None:
        """Return what an entry belongs to, or None."""
        return next(
            (item for item in self.kept if item.entry.n == event.payload.get("kept_entry")), None
        )

    @property
    def plans(self) -> tuple[PlanKept, ...]:
        """Every plan, in the order of what was kept."""
        return tuple(plan for item in self.kept for plan in item.plans)

    def plan(self, name: str) -> PlanKept | None:
        """Return the plan of that name."""
        return next((plan for plan in self.plans if plan.name == name), None)

    def abandoned_plans(self, id_: str) -> int:
        """Return how many plans of an idea were given up unread."""
        return _abandoned(self.kept, id_)

    def tried(self, id_: str, before: int | None = None) -> Kept | None:
        """Return the last time that idea came to a verdict, before an entry where one is given."""
        ended = [
            item
            for item in self.kept
            if item.id == id_ and item.verdict and (before is None or item.verdict.n < before)
        ]
        return ended[-1] if ended else None


def replay(book: Ledger) -> FollowupState:
    """Return what the entries of a ledger come to."""
    kept: list[Kept] = []
    left: list[Left] = []
    refused: set[int] = set()
    for event in book.events:
        if event.event in _STEPS:
            done = _STEPS[event.event](kept, event)
        elif event.event in _LEAVING:
            done = _LEAVING[event.event](kept, left, event)
        else:
            continue
        if not done:
            refused.add(event.n)
        elif event.event == "kept":
            _take_up(left, kept[-1].id, event)
    return FollowupState(tuple(kept), frozenset(refused), tuple(left))


def _keep(kept: list[Kept], event: Event) -> bool:
    try:
        new = Kept(event)
    except ValueError:
        return False
    now_open = [item for item in kept if item.open_on(new.what.suggested_by_days_to)]
    if len(now_open) >= MAX_OPEN or any(item.id == new.id for item in now_open):
        return False
    kept.append(new)
    return True


def _drop(kept: list[Kept], event: Event) -> bool:
    item = _of(kept, event)
    if item is None or item.closed_at is not None:
        return False
    item.dropped = event
    return True


def _plan(kept: list[Kept], event: Event) -> bool:
    item = _of(kept, event)
    if item is None or item.closed_at is not None or item.as_ != "alternate" or item.plan_open():
        return False
    try:
        plan = PlanKept(event, item, abandoned_plans=_abandoned(kept, item.id))
    except ValueError:
        return False
    item.plans.append(plan)
    return True


def _abandoned(kept: Sequence[Kept], id_: str) -> int:
    given_up = [item for item in kept if item.id == id_ and item.dropped is not None]
    return sum(plan.verdict is None for item in given_up for plan in item.plans)


def _settle(kept: list[Kept], event: Event) -> bool:
    item = _of(kept, event)
    if item is None or item.closed_at is not None:
        return False
    name = event.payload.get("plan")
    if item.as_ == "alternate":
        plan = next((p for p in item.plans if p.name == name and p.verdict is None), None)
        if plan is None:
            return False
        plan.verdict = event
    item.verdict = event
    return True


def _of(kept: list[Kept], event: Event) -> Kept | None:
    return next((item for item in kept if item.entry.n == event.payload.get("kept_entry")), None)


_STEPS = {"kept": _keep, "dropped": _drop, "planned": _plan, "verdict": _settle}


def _leave(kept: list[Kept], left: list[Left], event: Event) -> bool:
    try:
        new = Left(event)
    except ValueError:
        return False
    day = new.what.records_last_day
    is_open = any(item.id == new.id and item.open_on(day) for item in kept)
    if is_open or any(item.id == new.id and item.taken_up is None for item in left):
        return False
    left.append(new)
    return True


def _take_back(_: list[Kept], left: list[Left], event: Event) -> bool:
    return _take_up(left, str(event.payload.get("id")), event)


def _take_up(left: list[Left], id_: str, event: Event) -> bool:
    item = next((one for one in left if one.id == id_ and one.taken_up is None), None)
    if item is not None:
        item.taken_up = event
    return item is not None


_LEAVING = {"left": _leave, "taken_up": _take_back}


SETTINGS = (
    "records_hash",
    "rules_hash",
    "settings_hash",
    "seed",
    "draws",
    "unit",
    "first",
    "last",
    "left_out_hash",
)
LOOKS = ("ranked", "looked")
NO_DAY_AFTER = "9999-12-30"


@dataclass(frozen=True, slots=True)
class FixedQuestion(Result):
    """One question that was fixed.

    Attributes:
        factor: name of the factor; ``named`` where its words have not been merged since.
        outcome: name of the outcome.
        guess: "up", "down", or None.
        fixed_on: ISO date it was fixed on; where only the ledger knows, the date of its entry.
        proven: whether the ledger itself shows that date; False where it was only told, where
            the ledger was changed before this entry, or where the clock had been set back.
        n: the number of its entry.
        id: of its definition when it was fixed, or None where that was not written.
        range: the client's glucose range when it was fixed, mg/dL, likewise.
        looked: what a caseload found of this client was there when it was fixed.
        lost: entries before it are lost or changed: whether somebody had looked is not known.
        words: of a tag or a food, the words that counted as it then; None where that was not
            written.
        named: name of the factor when it was fixed.
        shape: "cut" or "dose" where one was named.
    """

    factor: str
    outcome: str
    guess: str | None
    fixed_on: str
    proven: bool
    n: int
    id: str | None = None
    range: tuple[float, ...] | None = None
    looked: bool = False
    lost: bool = False
    words: tuple[str, ...] | None = None
    named: str = ""
    shape: str | None = None


def named(ledger: Ledger, event: str) -> tuple[Event, ...]:
    """Return the events of one kind, in order."""
    return tuple(item for item in ledger.events if item.event == event)


def questions(ledger: Ledger) -> tuple[FixedQuestion, ...]:
    """Return the fixed questions in order; of one fixed twice, the first."""
    found: dict[tuple[str, str], FixedQuestion] = {}
    back = _clock_set_back(ledger)
    recovered = named(ledger, "recovered")
    lost = (e.n for e in recovered if "missing" in e.payload or "unnoted" in e.payload)
    lost_at = min(lost, default=sys.maxsize)
    for item in named(ledger, "fixed"):
        payload = item.payload
        limits = tuple(float(limit) for limit in item.listed("range") if _is_number(limit))
        question = FixedQuestion(
            factor=str(payload.get("factor", "")),
            named=str(payload.get("factor", "")),
            outcome=str(payload.get("outcome", "")),
            guess=payload.get("guess"),
            fixed_on=_day(payload.get("fixed_on"), item.at[:10]),
            proven=payload.get("proven") is True and item.trusted and item.row not in back,
            n=item.n,
            id=str(payload["id"]) if payload.get("id") else None,
            range=limits or None,
            looked=payload.get("looked") is True,
            lost=not item.trusted or lost_at < item.n,
            shape=payload.get("shape") if payload.get("shape") in tuple(Shape) else None,
            words=tuple(map(str, item.listed("words"))) if "words" in payload else None,
        )
        found.setdefault((question.factor, question.outcome), question)
    return tuple(found.values())


def rankings(ledger: Ledger, since: str) -> tuple[Event, ...]:
    """Return the distinct rankings that had seen a day from ``since`` on, the first event of each.

    Two rankings are the same where the records and all that was chosen (``SETTINGS``) are.

    Args:
        ledger: as read.
        since: ISO date of the first day that is ranked now.
    """
    found: dict[tuple[str, ...], Event] = {}
    for item in named(ledger, "ranked"):
        if str(item.payload.get("last_day") or "9999") >= since:
            found.setdefault(choices(item.payload), item)
    return tuple(found.values())


def choices(payload: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what makes one ranking differ from another."""
    return tuple(repr(payload.get(name)) for name in SETTINGS)


def _clock_set_back(ledger: Ledger) -> set[int]:
    """Return the rows of entries dated a day or more before one that is above them."""
    rows, latest = set(), datetime.min.replace(tzinfo=UTC) + BACK
    for item in ledger.events:
        try:
            at = datetime.fromisoformat(item.at)
            if at <= latest - BACK:
                rows.add(item.row)
            latest = max(latest, at)
        except (ValueError, TypeError):
            rows.add(item.row)
    return rows


def _day(*told: Any) -> str:
    """Return the first ISO date; of an entry with none no day can be known to come after it."""
    for text in told:
        try:
            return date.fromisoformat(text).isoformat()
        except (ValueError, TypeError):
            continue
    return NO_DAY_AFTER


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
