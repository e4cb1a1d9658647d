"""What was kept, and what new days said of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from miner.core.messages import Words
from miner.core.results.base import Result, Worded
from miner.core.results.noting import Note
from miner.core.results.plan import PlanResult
from miner.core.results.since import Since


@dataclass(frozen=True, slots=True, repr=False)
class EveryLook(Result):
    """A reading that stays true however often it is looked at.

    Attributes:
        evidence: the evidence value so far; None before it is defined.
        needed: where it would be clear: with several kept, more.
        reached: whether it has got there.
        units_one_look: new units that one look on one date would take, 80 times in 100.
        units_every_look: new units when every unit may be looked at.
        price_days: how many days longer that takes: the price of looking every day.
        reached_on: the day whose look got there first.
    """

    evidence: float | None
    needed: float
    reached: bool
    units_one_look: int | None
    units_every_look: int | None
    price_days: int | None = None
    reached_on: str | None = None


@dataclass(frozen=True, slots=True, repr=False)
class NewUnits(Result):
    """Units that did not suggest a kept hypothesis: how many, with it, without it, unknown."""

    units: int
    with_: int
    without: int
    unknown: int

    def to_dict(self) -> dict[str, Any]:
        """Return the counts by name."""
        return {
            "units": self.units, "with": self.with_, "without": self.without,
            "unknown": self.unknown,
        }  # fmt: skip


@dataclass(frozen=True, slots=True, repr=False)
class KeptResult(Worded):
    """One kept hypothesis.

    Attributes:
        as_: watch, alternate or adopt.
        kept_on: date of its entry in the ledger.
        suggested_by_days_to: last day of the records that suggested it; days after it count.
        read_on: the date its new days are read.
        status: waiting, held_up, did_not_hold, not_settled, habit_stopped; None where no verdict
            is promised.
        difference: with less without, adjusted, on new units; None before the date.
        interval: two one-sided 95 % limits.
        expected: what was expected on new units of a claim, else None.
        sought: the difference that new units are looked at for.
        power: how often they show it on the date, if it is true.
        reason: why it could not be settled, or nothing.
        tried_before: how an earlier test of the same idea ended, or None.
        test: its last alternating test: what came of it, or how far it is.
        reworded: of a tag or food whose words were merged or parted since, the words it was kept
            with, which count; else nothing.
        since: of a verdict, what was changed of its days after somebody had looked at them.
    """

    id: str
    as_: str
    kept_on: str
    suggested_by_days_to: str
    read_on: str | None
    new_units: int
    status: str | None
    difference: float | None
    interval: tuple[float, float] | None
    p: float | None
    p_adjusted: float | None
    factors: tuple[str, ...]
    lag_days: tuple[int, ...]
    outcome: str
    unit_of: str
    unit: str
    direction: str
    expected: float | None
    smallest_worth_it: float
    counts: NewUnits | None = None
    sought: float | None = None
    power: float | None = None
    every_look: EveryLook | None = None
    reason: Words = ""
    note: str = ""
    proven: bool = True
    tried_before: str | None = None
    open: bool = True
    test: PlanResult | None = None
    reworded: tuple[str, ...] = ()
    since: Since | None = None

    SAID: ClassVar[Mapping[str, tuple[str, ...]]] = {"p_adjusted": ("sentence",)}

    @property
    def sentence(self) -> str:
        """What may be said of it; a verdict in the words of its level."""
        return str(self.said("sentence"))

    def to_dict(self) -> dict[str, Any]:
        """Return the fields under the names of the contract."""
        raw = super(KeptResult, self).to_dict()
        return {("as" if name == "as_" else name): value for name, value in raw.items()}


@dataclass(frozen=True, slots=True, repr=False)
class Following(Result):
    """Everything kept of one client, in the order it was kept."""

    client: str
    last_day: str | None
    kept: tuple[KeptResult, ...]
    notes: tuple[Words, ...] = ()


@dataclass(frozen=True, slots=True, repr=False)
class HistoryEntry(Result):
    """One line of the story: its number in the ledger, its date, what kind, and the words."""

    n: int
    on: str
    event: str
    text: Words
    id: str | None = None
    proven: bool = True


@dataclass(frozen=True, slots=True, repr=False)
class History(Result):
    """The story of one client's questions.

    Attributes:
        searches: different searches the ledger knows of.
        fixed: questions fixed.
        written: the practitioner's notes on days and sessions.
    """

    client: str
    searches: int
    fixed: int
    entries: tuple[HistoryEntry, ...]
    notes: tuple[Words, ...] = ()
    written: tuple[Note, ...] = ()
