"""What later commands ask of a ledger: its fixed questions, and how often it was ranked."""

from __future__ import annotations

from dataclasses import dataclass

from miner.ledger.line import Event
from miner.ledger.reading import Ledger
from miner.results import Result

SETTINGS = ("rules_hash", "seed", "draws", "unit", "first", "last", "left_out_hash")


@dataclass(frozen=True, slots=True)
class Question(Result):
    """One question that was fixed.

    Attributes:
        factor: name of the factor.
        outcome: name of the outcome.
        guess: "up", "down", or None.
        fixed_on: ISO date it was fixed on; where only the ledger knows, the date of its entry.
        proven: whether the ledger itself shows that date; False where it was only told, or where
            the ledger was changed before this entry.
        n: the number of its entry.
    """

    factor: str
    outcome: str
    guess: str | None
    fixed_on: str
    proven: bool
    n: int


def named(ledger: Ledger, event: str) -> tuple[Event, ...]:
    """Return the events of one kind, in order."""
    return tuple(item for item in ledger.events if item.event == event)


def questions(ledger: Ledger) -> tuple[Question, ...]:
    """Return the fixed questions in order; of one fixed twice, the first."""
    found: dict[tuple[str, str], Question] = {}
    for item in named(ledger, "fixed"):
        payload = item.payload
        question = Question(
            factor=str(payload.get("factor", "")),
            outcome=str(payload.get("outcome", "")),
            guess=payload.get("guess"),
            fixed_on=str(payload.get("fixed_on") or item.at[:10]),
            proven=payload.get("proven") is True and item.trusted,
            n=item.n,
        )
        found.setdefault((question.factor, question.outcome), question)
    return tuple(found.values())


def rankings(ledger: Ledger, records_hash: str) -> tuple[Event, ...]:
    """Return the distinct rankings of these records, the first event of each.

    Two rankings are the same where ``rules_hash``, ``seed``, ``draws``, ``unit``, ``first``,
    ``last`` and ``left_out_hash`` of their events are.
    """
    found: dict[tuple[str, ...], Event] = {}
    for item in named(ledger, "ranked"):
        if item.payload.get("records_hash") == records_hash:
            key = tuple(repr(item.payload.get(name)) for name in SETTINGS)
            found.setdefault(key, item)
    return tuple(found.values())
