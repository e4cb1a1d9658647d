"""What a practitioner wrote: notes on days and sessions, corrections of meals and tags."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from miner.core.results.base import Result
from miner.core.results.why import Place


@dataclass(frozen=True, slots=True, repr=False)
class Note(Result):
    """A note in the practitioner's own words.

    Attributes:
        about: "day" or "session".
        date: ISO date it is about.
        entered: when it was written, ISO 8601 with offset; empty where that is not known.
        text: the words, to the letter.
        row: line of its heading in the file, from 1.
    """

    about: str
    date: str
    entered: str
    text: str
    row: int = 0


@dataclass(frozen=True, slots=True, repr=False)
class ReadAs(Result):
    """How a meal or tag is read now.

    Attributes:
        day: ISO date of the day it counts for, wake to wake; None outside the readings.
        kind: of a meal breakfast, lunch, dinner, snack, "" or "not_food"; of a tag "habit", "few",
            "medicine", "pregnancy" or "illness".
        name: of a tag the word it counts under, synonyms followed; of a meal "".
        beside: of a meal, what else is read as the same meal.
        days: of a tag, on how many days it stands now.
        needed: of a tag, on how many days it has to stand to be looked at as a habit.
    """

    day: str | None
    kind: str
    name: str = ""
    beside: tuple[str, ...] = ()
    days: int = 0
    needed: int = 0


@dataclass(frozen=True, slots=True, repr=False)
class CorrectionMade(Result):
    """One row of the corrections.

    Attributes:
        row: its line in ``corrections.csv``, from 1.
        entered: when, ISO 8601.
        stream: meals or tags.
        action: "added", "mended", "taken_out" or "taken_back" (another correction).
        place: the row it speaks of, or None where it adds a record.
        before: what was read there; nothing where it adds a record.
        now: the record that holds instead; nothing where it is taken out.
        in_force: whether it holds: neither taken back nor replaced by a later one.
        read_as: how the record is read, where it was just written.
    """

    row: int
    entered: str
    stream: str
    action: str
    place: Place | None
    before: Mapping[str, Any]
    now: Mapping[str, Any]
    in_force: bool = True
    read_as: ReadAs | None = None


@dataclass(frozen=True, slots=True, repr=False)
class Notebook(Result):
    """Everything a practitioner wrote of one client, in the order of the files."""

    client: str
    corrections: tuple[CorrectionMade, ...]
    notes: tuple[Note, ...]
