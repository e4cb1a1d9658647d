"""The ledger replayed: what is kept, what is open, which verdicts stand.

Entries are taken in the order of the ledger, whatever the clock said. Two programs may write at
the same moment; so what may not be (a fourth idea, a second verdict) is decided here, by the order
of the entries, and a later reading comes to the same answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from miner.ledger.entries import KeptEntry, PlanEntry
from miner.ledger.line import Event
from miner.ledger.reading import Ledger

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
