"""One day as it is looked at in the morning, and a practice on one screen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from miner.core.facts import CautionText, Note, Place, Result
from miner.core.messages import Message, Words, message
from miner.core.results.noting import NotTicked


@dataclass(frozen=True, slots=True, repr=False)
class Noted(Result):
    """One thing recorded: from when to when (wall clock), in words, and where it is.

    Attributes:
        replaces: the row that a correction replaces, or None.
        date_only: noted for a date without a time of day: start and end are that date.
        kind: what it was without its length, such as the kind of movement.
        minutes: how long it took; 0 for a time.
        own: what the client called a meal or a tag; not shown next to the words.
    """

    stream: str
    start: str
    end: str
    text: str
    file: str
    row: int
    replaces: Place | None = None
    date_only: bool = False
    kind: str = ""
    minutes: float = 0.0
    own: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return the fields by name, without what its words hold already."""
        told = super(Noted, self).to_dict()
        del told["own"]
        return told


@dataclass(frozen=True, slots=True, repr=False)
class Against(Result):
    """One number of the day next to the client's own usual range.

    Attributes:
        low, high: between which 95 in 100 of the client's other usable days are; None where it is
            known on fewer than 14.
        days: on how many other usable days it is known.
        inside: None where either is not known.
        above, below: on how many of these days it is higher, and lower.
        reason: why the number is not known, or empty.
    """

    name: str
    label: str
    unit: str
    value: float | None
    low: float | None
    high: float | None
    middle: float | None
    days: int
    inside: bool | None
    reason: Message | str
    above: int = 0
    below: int = 0

    @property
    def extreme(self) -> bool:
        """Whether it is outside the usual range and no other day is as far out on that side."""
        return self.inside is False and 0 in (self.above, self.below)


@dataclass(frozen=True, slots=True, repr=False)
class RiseOfDay(Result):
    """One rise of the day, with what was recorded in the three hours before its start.

    Attributes:
        start, peak: wall clock to the minute.
        height: mg/dL above its start.
        back: wall clock at which it was back, None where it was cut before.
        cut_by: "", "meal", "rise", "gap" or "end".
        unlogged: high enough to expect a meal, and none is logged around it.
    """

    start: str
    peak: str
    baseline: float
    height: float
    minutes_to_peak: float
    back: str | None
    cut_by: str
    hills: int
    meal: str
    unlogged: bool
    before: tuple[Noted, ...]


@dataclass(frozen=True, slots=True, repr=False)
class OnTest(Result):
    """Something kept or on test, as far as this day goes: counted or not, never whether it agrees.

    Attributes:
        kind: "watch", "alternate" or "adopt".
        arm: "change" or "usual" of an alternating test, else empty.
        tick: "yes", "no", "forgot", "missing", or empty where none is asked for.
    """

    id: str
    kind: str
    plan: str
    what: str
    counted: bool
    arm: str
    tick: str
    sentence: Words


@dataclass(frozen=True, slots=True, repr=False)
class DayReview(Result):
    """One biological day of one client, wake to wake, with the night that opens it.

    Attributes:
        chosen: "asked for", or "the newest whole day".
        usable: whether the day counts in a ranking; ``left_out`` says why not.
        of_client: what the intake or a tag puts before anything else, on whatever day.
        first: what to look at before anything else on this day.
        last_reading: when its last reading is, where that is well before its end; else empty.
        could_be_asked: questions for the client.
        curve: (minutes after ``start``, mg/dL) of every reading from the night on.
        lanes: everything recorded from the night to the end of the day.
        range: the client's glucose range, mg/dL.
        notes: what the practitioner wrote on this day or on a session of this date.
    """

    client: str
    date: str
    chosen: Words
    usable: bool
    left_out: Message | str
    start: str
    end: str
    of_client: tuple[CautionText, ...]
    first: tuple[Words, ...]
    night: Words
    numbers: tuple[Against, ...]
    rises: tuple[RiseOfDay, ...]
    on_test: tuple[OnTest, ...]
    could_be_asked: tuple[Words, ...]
    cautions: tuple[str, ...]
    curve: tuple[tuple[float, float], ...]
    lanes: tuple[Noted, ...]
    range: tuple[float, float]
    last_reading: str = ""
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, slots=True, repr=False)
class ClientState(Result):
    """The state of each client, and with it the one next step.

    Attributes:
        folder: the client's folder.
        state: a code; ``state_`` and ``next_`` of it in the texts of the steps are its words.
        of: the pattern or the plan that it is about, or empty.
        days: ISO dates that it is about: of reading, or those without a tick.
        count: of what it is about: questions, days that are lacking, patterns.
        typed: what a command is typed with for ``of``: the number of a pattern in the last ranking
            that was shown. Words alone need it, so it is no part of the written result.
    """

    folder: str
    state: str
    of: str = ""
    days: tuple[str, ...] = ()
    count: int = 0
    typed: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return the fields by name, without what only commands are typed with."""
        told = super(ClientState, self).to_dict()
        del told["typed"]
        return told

    @property
    def said(self) -> Message:
        """The state in words."""
        values = {"folder": self.folder, "days": self.days, "count": self.count}
        return message(f"steps.state_{self.state}", **values)

    def next(self, on: str) -> Message:
        """Return the next step: a command, or on a page what is on the button.

        Args:
            on: ISO date of the day on which it is done.
        """
        values = {"folder": self.folder, "of": self.typed or self.of, "on": on, "days": self.days}
        return message(f"steps.next_{self.state}", **values)


@dataclass(frozen=True, slots=True, repr=False)
class ClientMorning(Result):
    """One client on the practice's screen.

    Attributes:
        newest: date of the newest reading.
        day: the newest whole day, which is looked at.
        message: ready to send, where a nudge is due.
        not_ticked: days of a running test up to the day before this morning without a tick.
    """

    client: str
    newest: str | None
    day: str | None
    look_first: tuple[Words, ...] = ()
    nudge: tuple[Words, ...] = ()
    message: Words = ""
    stale: Words = ""
    on_test: tuple[OnTest, ...] = ()
    not_ticked: tuple[NotTicked, ...] = ()


@dataclass(frozen=True, slots=True, repr=False)
class PracticeMorning(Result):
    """All clients of a practice on one morning, each in the first group that fits.

    Attributes:
        on: the morning, ISO.
        not_active: client and newest reading of those who are in no active phase.
        unreadable: client and what is wrong.
    """

    practice: str
    on: str
    look_first: tuple[ClientMorning, ...]
    nudge: tuple[ClientMorning, ...]
    stale: tuple[ClientMorning, ...]
    on_test: tuple[ClientMorning, ...]
    ordinary: tuple[ClientMorning, ...]
    not_active: tuple[tuple[str, str], ...]
    unreadable: tuple[tuple[str, str], ...]
    note: Words
