"""What a person reads, as pieces without a form: a door renders them to text or a page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from miner.core.messages import Words
from miner.words.safe import clean, spelled

Side = Literal["left", "right"]


@dataclass(frozen=True, slots=True)
class Heading:
    """A line that leads."""

    text: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Wrapped text.

    Attributes:
        text: its words, harmless; empty for an empty line.
        indent: columns left free at the left.
        urgent: it comes before anything else.
        own: somebody's own words, to the letter.
        lead: a number or a time that stands beside it, or nothing there; None where there is no
            room for one.
        lead_width: columns of the lead, where several are one below the other.
    """

    text: str
    indent: int = 0
    urgent: bool = False
    own: bool = False
    lead: str | None = None
    lead_width: int = 1


@dataclass(frozen=True, slots=True)
class Command:
    """A command to be copied: no line of it is broken."""

    text: str
    indent: int = 2


@dataclass(frozen=True, slots=True)
class Strip:
    """One mark a day behind a name.

    Attributes:
        lead: the name, or the days.
        marks: one letter a day.
        factor: the habit that it is of, by its name in the rule book, or nothing.
    """

    lead: str
    marks: str
    factor: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """Rows without lines.

    Attributes:
        columns: title and side of each column.
        rows: one cell a column, each harmless.
        indent: columns left free at the left.
        gap: columns left free between two.
    """

    columns: tuple[tuple[str, Side], ...]
    rows: tuple[tuple[str, ...], ...]
    indent: int = 2
    gap: int = 1

    @property
    def titled(self) -> bool:
        """Whether a column has a title."""
        return any(title for title, _ in self.columns)


@dataclass(frozen=True, slots=True)
class Fitted:
    """The same from ample to tight: the first that takes at most so many lines is shown."""

    choices: tuple[Parts, ...]
    most_lines: int
    width: int


Part = Heading | Paragraph | Command | Strip | Table | Fitted
Parts = list[Part]
BLANK = Paragraph("")


def heading(text: str) -> Heading:
    """Return a line that leads."""
    return Heading(clean(text))


def section(title: str, body: Parts) -> Parts:
    """Return a titled block after a blank line, or nothing if its body is empty."""
    return [BLANK, heading(title), *body] if body else []


def paragraph(text: Words, indent: int = 0, *, limit: int = 2000) -> Paragraph:
    """Return wrapped text."""
    return Paragraph(clean(text, limit), indent)


def urgent(text: str, indent: int = 0) -> Paragraph:
    """Return wrapped text that comes before anything else."""
    return Paragraph(clean(text, 2000), indent, urgent=True)


def item(lead: str, text: str, indent: int = 0, *, width: int = 1) -> Paragraph:
    """Return wrapped text beside a number or a time, its lines set in below one another.

    Args:
        lead: what stands at the left.
        text: what is wrapped beside it.
        indent: columns left free at the left.
        width: columns of what stands at the left, where several are one below the other.
    """
    return Paragraph(clean(text, 2000), indent, lead=clean(lead), lead_width=width)


def command(text: str, indent: int = 2) -> Command:
    """Return a command to be copied: on one line, however long it is."""
    return Command(spelled(text), indent)


def own_words(line: str, indent: int = 0) -> Paragraph:
    """Return a line of somebody's own words, wrapped and otherwise to the letter."""
    return Paragraph(spelled(line), indent, own=True)


def table(
    columns: Sequence[str], rows: Iterable[Sequence[str]], *, indent: int = 2, gap: int = 1
) -> Parts:
    """Return a table without lines, or nothing without rows.

    Args:
        columns: titles; one that begins with ``>`` stands at the right with its cells.
        rows: one cell a column, each already clean text.
        indent: columns left free at the left.
        gap: columns left free between two.
    """
    shown = tuple(tuple(row) for row in rows)
    titles: tuple[tuple[str, Side], ...] = tuple(
        (title[1:], "right") if title.startswith(">") else (title, "left") for title in columns
    )
    return [Table(titles, shown, indent, gap)] if shown else []
