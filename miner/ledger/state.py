"""The ledger replayed: what is kept, what is open, which verdicts stand.

Entries are taken in the order of the ledger, whatever the clock said. Two programs may write at
the same moment; so what may not be (a fourth idea, a second verdict) is decided here, by the order
of the entries, and a later reading comes to the same answer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from miner.ledger.entries import KeptEntry, PlanEntry, is_whole
from miner.ledger.line import Event
from miner.ledger.reading import Ledger

MAX_OPEN = 3


@dataclass(slots=True)
class Kept:
    """One kept hypothesis and what has become of it.

    Attributes:
        entry: its line of the ledger.
        verdict: the line that settled it, or None.
        dropped: the line that gave it up, or None.
        plans: its alternating tests, in order.
    """

    entry: Event
    verdict: Event | None = None
    dropped: Event | None = None
    plans: list[PlanKept] = field(default_factory=list)

    @property
    def what(self) -> Mapping[str, Any]:
        """What was kept."""
        return self.entry.payload

    @property
    def id(self) -> str:
        """The hypothesis."""
        return str(self.what.get("id", ""))

    @property
    def as_(self) -> str:
        """How it was kept: watch, alternate or adopt."""
        return str(self.what.get("as", "watch"))

    @property
    def closed_at(self) -> int | None:
        """Number of the entry that closed it, or None."""
        closing = self.verdict or self.dropped
        return None if closing is None else closing.n

    def open_on(self, day: str | None) -> bool:
        """Say whether it is open when the records end on that day."""
        if self.closed_at is not None:
            return False
        read_on = self.what.get("read_on")
        return not (self.as_ == "adopt" and read_on and day and str(day) > str(read_on))

    @property
    def ended(self) -> str | None:
        """How it ended: the status of its verdict, ``changed_worse`` for a change for the worse."""
        if self.verdict is None:
            return None
        told = self.verdict.payload
        difference = told.get("difference")
        if told.get("status") != "changed" or not isinstance(difference, int | float):
            return str(told.get("status"))
        outcome = self.what["definitions"].get("outcome") or {}
        higher = outcome.get("worse", "higher") == "higher"
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

    @property
    def name(self) -> str:
        """The name it was given."""
        return str(self.entry.payload.get("plan", ""))

    @property
    def never_begun(self) -> bool:
        """Whether it was stopped before any pair was complete."""
        dropped = self.kept.dropped
        return dropped is not None and dropped.payload.get("plan") == self.name


@dataclass(frozen=True, slots=True)
class FollowupState:
    """What the ledger comes to.

    Attributes:
        kept: what was kept, in order.
        refused: numbers of the entries that came too late or are not whole.
    """

    kept: tuple[Kept, ...]
    refused: frozenset[int]

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
    refused: set[int] = set()
    for event in book.events:
        if event.event in _STEPS and not _STEPS[event.event](kept, event):
            refused.add(event.n)
    return FollowupState(tuple(kept), frozenset(refused))


def _keep(kept: list[Kept], event: Event) -> bool:
    if not is_whole(KeptEntry, event.payload):
        return False
    day = event.payload.get("suggested_by_days_to")
    now_open = [item for item in kept if item.open_on(None if day is None else str(day))]
    taken = any(item.id == event.payload.get("id") for item in now_open)
    if len(now_open) >= MAX_OPEN or taken:
        return False
    kept.append(Kept(event))
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
    if not is_whole(PlanEntry, event.payload):
        return False
    item.plans.append(PlanKept(event, item, abandoned_plans=_abandoned(kept, item.id)))
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
