"""What later commands ask of a ledger: its fixed questions, and how often it was ranked."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from miner.core.results import Result, Shape
from miner.ledger.line import Event
from miner.ledger.reading import BACK, Ledger

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
    """Return the rows of entries dated a day or more before one that stands above them."""
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
