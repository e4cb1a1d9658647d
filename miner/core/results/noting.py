"""What a practitioner wrote: notes on days and sessions, corrections, ticks of a plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from miner.core.facts import CautionText, Note, Place, Result
from miner.core.messages import Words


@dataclass(frozen=True, slots=True, repr=False)
class ReadAs(Result):
    """How a meal or tag is read now.

    Attributes:
        day: ISO date of the day it counts for, wake to wake; None outside the readings.
        kind: of a meal breakfast, lunch, dinner, snack, "" or "not_food"; of a tag "habit", "few",
            "medicine", "pregnancy" or "illness".
        name: of a tag the word it counts under, synonyms followed; of a meal "".
        beside: what else is read as the same meal.
        days: of a tag, on how many days it is noted now.
        needed: of a tag, on how many days it has to be noted to be looked at as a habit.
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
        place: the row that it corrects, or None if it adds a record.
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
class TicksMade(Result):
    """What was noted of the days of a plan at one time, or taken back.

    Attributes:
        plan: its name.
        noted: when, ISO 8601; empty where nothing was to be written.
        answers: ISO date -> "yes", "no", "forgot", or nothing where an answer was taken back.
        as_planned: how many of these days were not named: done as planned, like all the rest.
        already: days that are over and had a tick before.
        left: days that are over and still have none.
        taken_back: whether these answers were taken out again.
    """

    plan: str
    noted: str
    answers: Mapping[str, str]
    as_planned: int = 0
    already: int = 0
    left: int = 0
    taken_back: bool = False


@dataclass(frozen=True, slots=True, repr=False)
class NotTicked(Result):
    """Days of a running test that are over and have no tick, ISO."""

    plan: str
    days: tuple[str, ...]


@dataclass(frozen=True, slots=True, repr=False)
class PlanTicks(Result):
    """What is ticked of one test: the ISO dates of each answer, in order."""

    plan: str
    yes: tuple[str, ...]
    no: tuple[str, ...]
    forgot: tuple[str, ...]


@dataclass(frozen=True, slots=True, repr=False)
class Notebook(Result):
    """Everything a practitioner wrote of one client, in the order of the files.

    Attributes:
        ticks: of each test, by its name.
        informed: when the client was referred to a clinician, ISO; empty where that is not noted.
        agreed: when the clinician agreed, ISO, or empty.
        covers: what the agreement covers.
    """

    client: str
    corrections: tuple[CorrectionMade, ...]
    notes: tuple[Note, ...]
    ticks: tuple[PlanTicks, ...] = ()
    informed: str = ""
    agreed: str = ""
    covers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, repr=False)
class TopicHeld(Result):
    """A topic of habits that is not proposed or tested as yet.

    Attributes:
        topic: sleep, stress, movement or meals.
        lift: what opens it next: "informed", "agreed", or empty for nothing.
        why: the cautions that hold it back.
    """

    topic: str
    lift: str
    why: tuple[CautionText, ...]


@dataclass(frozen=True, slots=True, repr=False)
class ClinicianNoted(Result):
    """What was noted of a clinician, and what that opens.

    Attributes:
        informed: when the client was referred to one, ISO; empty if not known.
        agreed: when the clinician agreed, ISO, or empty.
        covers: what the agreement covers.
        covered_before: what an agreement covered until now.
        open: topics of habits that may be proposed and tested now.
        opened: those of them that had been held back.
        held: topics that still are.
        unread: why the records do not show what is held back, or nothing.
        taken_back: whether the last note was taken back, so that this is what was before it.
    """

    client: str
    informed: str
    agreed: str
    covers: tuple[str, ...]
    covered_before: tuple[str, ...]
    open: tuple[str, ...]
    opened: tuple[str, ...]
    held: tuple[TopicHeld, ...]
    unread: Words = ""
    taken_back: bool = False


@dataclass(frozen=True, slots=True, repr=False)
class WordCount(Result):
    """How often a word was noted over the clients of a practice.

    Attributes:
        times: tags, or rows of the meal log, that hold it.
        days: dates on which they are, counted for each client.
        clients: clients who noted it.
    """

    word: str
    times: int
    days: int
    clients: int


@dataclass(frozen=True, slots=True, repr=False)
class Reworded(Result):
    """A fixed question or a kept pattern of one client that a merge touches.

    Attributes:
        client: the client's folder.
        what: "question" or "kept".
        factor: its name when it was written down.
        state: "before" where nobody had looked at later days: it asks about the words as they are
            merged; "after" where somebody had: a hint at most; "goes_on" of what is kept: it keeps
            the words it was kept with.
    """

    client: str
    what: str
    factor: str
    state: str


@dataclass(frozen=True, slots=True, repr=False)
class Merge(Result):
    """What a merge, or its undoing, changes.

    Attributes:
        kind: "tag" or "food".
        action: "merged", "parted" or "preview" (nothing is written).
        into: the word that the others count as.
        words: each word, that one first.
        together: all of them.
        reworded: what of the clients' ledgers is touched.
        apart: clients whose own file says otherwise of one of the words.
        unreadable: folders that could not be read, and why.
    """

    practice: str
    kind: str
    action: str
    into: str
    words: tuple[WordCount, ...]
    together: WordCount
    reworded: tuple[Reworded, ...] = ()
    apart: tuple[str, ...] = ()
    unreadable: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, repr=False)
class LookAlike(Result):
    """Two words that may be one: the rarer, the commoner; neither where both are as common."""

    kind: str
    rarer: WordCount
    commoner: WordCount
    as_common: bool


@dataclass(frozen=True, slots=True, repr=False)
class Merges(Result):
    """What is merged in a practice, and what may be.

    Attributes:
        merged: kind, word, and the word that it counts as.
        alike: the most noted first.
    """

    practice: str
    merged: tuple[tuple[str, str, str], ...]
    alike: tuple[LookAlike, ...]
    unreadable: tuple[tuple[str, str], ...] = ()
