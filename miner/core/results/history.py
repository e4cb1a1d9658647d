"""The story of a client's questions."""

from __future__ import annotations

from dataclasses import dataclass

from miner.core.facts import Note, Result
from miner.core.messages import Words


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
