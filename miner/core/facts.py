"""What every result can do, and what several hold: cautions, places in files, notes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import date
from enum import StrEnum
from math import isfinite
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

if TYPE_CHECKING:
    import pandas as pd

    from miner.core.messages import Message

TOPICS = ("sleep", "stress", "movement", "meals")
"""What habits may be about."""
HELD = "followup.held_"
"""What the code of a refusal by a caution begins with; what opens it next follows."""

YEARS = (1900, 2200)
"""The first and the last year that a date of records may have."""


class CautionKind(StrEnum):
    """What a caution is about, which decides where it is printed."""

    INTAKE = "intake"
    REFERRAL = "referral"
    MEDICINE = "medicine"
    ILLNESS = "illness"
    NOT_ASKED = "not_asked"
    ALWAYS = "always"
    PATTERNS = "patterns"


@dataclass(frozen=True, slots=True)
class CautionText:
    """One caution, glucose in the display unit; in JSON its text alone.

    Attributes:
        said: what has to be said.
        rests_on: what it rests on in a few words, if another text has it at length.
        action: what the client is asked to do, where it asks for a clinician.
        class_: "refer", "agree" or "stop" of the rule book; empty where it holds nothing back.
        days: ISO dates on which it rests; none where it rests on an answer.
        informed: the ISO date since which the client is known to be referred to a clinician, if
            that covers this caution; else empty.
        waiting: topics of habits that are not proposed or tested yet, each with what opens it
            next: "informed", "agreed", or empty for nothing.
        since: the day on which the readings had met its rule, ISO; empty for an answer.
        opened: topics of habits that it held back, each with the ISO day on which that ended.
        reason: what it rests on with the first of its days, of what holds something back.
        agreement: of these, what opens only once a clinician agreed to it.
        medicine: what is taken that acts on glucose, with unknown doses, such as "insulin".
        worst: the highest value of those days, mg/dL, or the lowest of a low; infinite where it is
            beyond what the sensor shows, None where it rests on an answer.
    """

    kind: CautionKind
    said: Message | str
    rests_on: Message | str = ""
    action: str = ""
    class_: str = ""
    days: tuple[str, ...] = ()
    informed: str = ""
    waiting: tuple[tuple[str, str], ...] = ()
    since: str = ""
    opened: tuple[tuple[str, str], ...] = ()
    reason: Message | str = ""
    agreement: tuple[str, ...] = ()
    medicine: str = ""
    worst: float | None = None

    @property
    def comes_first(self) -> bool:
        """Whether it is the headline of every page, because the client is not referred yet."""
        return bool(self.class_) and not self.informed

    def __str__(self) -> str:
        return self.text

    @property
    def text(self) -> str:
        """What has to be said, in words."""
        return str(self.said)

    @property
    def short(self) -> str:
        """What it rests on, in words."""
        return str(self.rests_on)


def plain(value: Any) -> Any:
    """Turn a result into what JSON can hold; what is undefined becomes None."""
    if isinstance(value, Result):
        return value.to_dict()
    if isinstance(value, bool | int | str) or value is None:
        return str(value) if isinstance(value, StrEnum) else value
    if isinstance(value, float):
        return value if isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in value]
    if isinstance(value, date):
        return value.isoformat()
    return plain(value.item()) if hasattr(value, "item") else str(value)


MAX_LINES, MAX_WIDTH = 20, 90


def _short(value: Any) -> str:
    if isinstance(value, Mapping | tuple | list | set | frozenset) and len(repr(value)) > MAX_WIDTH:
        return f"<{len(value)} of them>"
    if isinstance(value, Result):
        return f"<{type(value).__name__}>"
    text = repr(value)
    return text if len(text) <= MAX_WIDTH else f"{text[: MAX_WIDTH - 3]}..."


class Result:
    """What every result can do: become a dict of plain values, or a table of one row."""

    __slots__ = ()

    CALLED: ClassVar[Mapping[str, str]] = {}
    """The names of the contract, by those of the fields, where they are others."""

    def names(self) -> Iterator[str]:
        """Return the names of what it holds, in order."""
        yield from (item.name for item in fields(self))  # type: ignore[arg-type]

    def __repr__(self) -> str:
        """Return the fields by name, at most twenty lines; of what holds many things, how many."""
        names = list(self.names())
        told = [f"  {name}={_short(getattr(self, name))}" for name in names]
        if len(told) > MAX_LINES - 2:
            left_out = f"{len(told) - MAX_LINES + 3} more"
            told = [*told[: MAX_LINES - 3], f"  and {left_out}: to_dict()"]
        return "\n".join([f"{type(self).__name__}(", *told, ")"])

    def _repr_html_(self) -> str:
        """Return the table of the result, as a notebook shows it."""
        html: str = self.to_frame().to_html(index=False, max_rows=MAX_LINES, notebook=True)
        return html

    def to_dict(self) -> dict[str, Any]:
        """Return the fields by name as plain values."""
        return {self.CALLED.get(name, name): plain(getattr(self, name)) for name in self.names()}

    def to_frame(self) -> pd.DataFrame:
        """Return the result as a DataFrame of one row; ``attrs["units"]``: units by column."""
        import pandas as pd

        frame = pd.DataFrame([self.to_dict()])
        frame.attrs["units"] = self.column_units()
        return frame

    def column_units(self) -> dict[str, str]:
        """Return the unit of each column that has one."""
        return {}


@dataclass(frozen=True, slots=True)
class Wording:
    """What the words of a result rest on next to its own facts.

    Attributes:
        rules: the rule books it was made with.
        display_unit: ``mg/dL`` or ``mmol/L``.
        unit: "day" or "meal".
        days: how long the record is; 0 is not known.
        case: which of several things is said, where the facts leave that open.
    """

    rules: Any
    display_unit: str = "mg/dL"
    unit: str = "day"
    days: int = 0
    case: str = ""


class Said:
    """What is said of a result under a name; in what that becomes it follows a field."""

    def __init__(self, behind: str) -> None:
        self.behind = behind

    def __set_name__(self, _: type, name: str) -> None:
        self.name = name

    def __get__(self, fact: Any, _: type) -> str:
        return "" if fact is None else str(fact.said(self.name))


@dataclass(frozen=True, slots=True, repr=False)
class Worded(Result):
    """A result of which something is said; nothing is as long as it has no wording."""

    wording: Wording | None = field(default=None, kw_only=True, compare=False)

    def names(self) -> Iterator[str]:
        """Return the names of what it holds, in order, and of what is said of it."""
        said = [(name, each) for name, each in vars(type(self)).items() if isinstance(each, Said)]
        for item in fields(self):
            if item.name != "wording":
                yield item.name
                yield from (name for name, each in said if each.behind == item.name)

    @property
    def case(self) -> str:
        """Which of several things is said of it."""
        return self.wording.case if self.wording else ""

    def said(self, name: str) -> Any:
        """Return what is said of it under a name; nothing without a wording."""
        return "" if self.wording is None else sentence_of(self, name)


_sentences: list[Callable[[Any, str], Any]] = []


def sentences_from(sentences: Callable[[Any, str], Any]) -> None:
    """Take what is said of results from this function: a result and a name to its words."""
    _sentences[:] = [sentences]


def sentence_of(fact: object, name: str) -> Any:
    """Return what is said of a result under a name, such as its ``verdict``."""
    return _sentences[0](fact, name)


Fact = TypeVar("Fact", bound=Result)


def worded(fact: Fact, wording: Wording) -> Fact:
    """Return a result with its wording, and with it every result that it holds."""
    changes: dict[str, Any] = {}
    for item in fields(fact):  # type: ignore[arg-type]
        value = getattr(fact, item.name)
        if isinstance(value, Result):
            changes[item.name] = worded(value, wording)
        elif isinstance(value, tuple) and any(isinstance(one, Worded) for one in value):
            changes[item.name] = tuple(worded(one, wording) for one in value)
    if isinstance(fact, Worded):
        changes["wording"] = wording
    return replace(fact, **changes) if changes else fact  # type: ignore[type-var]


@dataclass(frozen=True, slots=True, repr=False)
class Place(Result):
    """A file of the client folder and a line in it, counted from 1.

    Attributes:
        replaces: the file and line of the record that a correction replaces, or None.
    """

    file: str
    row: int
    replaces: tuple[str, int] | None = None


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
