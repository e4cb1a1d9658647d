"""The weekly check: what was logged, how far each open question is, what is worth logging."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from miner.core.facts import CautionText, Result
from miner.core.messages import Message, Words
from miner.core.results.noting import NotTicked


@dataclass(frozen=True, slots=True, repr=False)
class Logged(Result):
    """One stream over the days of the week.

    Attributes:
        unit: hours (readings, or a tracker that samples) or entries.
        by_day: hours or entries of each day.
        days: on how many days there was anything (of glucose: 70 % of the day).
    """

    unit: str
    by_day: tuple[float, ...]
    days: int


@dataclass(frozen=True, slots=True, repr=False)
class OpenQuestion(Result):
    """One fixed question or kept hypothesis, and how far the records are.

    Attributes:
        kind: fixed or kept.
        since: ISO date; days after it count.
        unit_of: day or meal.
        with_, without, unknown: units on which the habit was there, was not, or is not known.
        need_each_side, need_units: how many it takes.
        enough: whether these are reached.
        days_to_enough: further days at the pace so far; None where enough, too early, or never.
        never: it will not be reached at this pace.
        why_unknown: the commonest reason, or nothing.
    """

    kind: str
    id: str
    factors: tuple[str, ...]
    outcome: str
    since: str
    unit_of: str
    with_: int
    without: int
    unknown: int
    need_each_side: int
    need_units: int
    enough: bool
    days_to_enough: int | None
    never: bool
    why_unknown: Message | str
    sentence: Words = ""

    CALLED: ClassVar[Mapping[str, str]] = {"with_": "with"}


@dataclass(frozen=True, slots=True, repr=False)
class Week(Result):
    """The last days of a client's records.

    Attributes:
        days: ISO dates, by the clock.
        logged: each stream.
        questions: what is open.
        worth_logging: what would help most, in words.
        message: the same as a message to the client, without numbers of glucose; empty where the
            intake asks for no numbers and perhaps no tracking, as is then what is worth logging.
        cautions: what has to be said of this client.
        notes: what could not be read.
        not_ticked: days of a running test without a tick, up to the end of the week.
        paused: of each test that waits for a caution, what it waits for and what lifts that.
    """

    client: str
    days: tuple[str, ...]
    logged: Mapping[str, Logged]
    questions: tuple[OpenQuestion, ...]
    worth_logging: tuple[Words, ...]
    message: Words
    cautions: tuple[CautionText, ...] = ()
    notes: tuple[Words, ...] = ()
    not_ticked: tuple[NotTicked, ...] = ()
    paused: tuple[Words, ...] = ()
