"""Headings, paragraphs and tables, put on lines of a given width."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from io import StringIO

from rich.console import Console, JustifyMethod, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from miner.brief.text.safe import clean, spelled

Parts = list[RenderableType]
LONGEST_LEAD = 44
"""The first column of a table is never broken where it is no wider than this."""


class OwnWords(Text):
    """What somebody wrote: no word of it is put in another way."""


class CommandLine(Text):
    """A command to be copied: no line of it is broken."""


def render(parts: Iterable[RenderableType], width: int = 80, *, styled: bool = False) -> str:
    """Return the parts as text, without a trailing blank line.

    Args:
        parts: what the ``*_parts`` functions of this package return.
        width: columns of a line.
        styled: with bold and dim, for a terminal; never with colour.
    """
    buffer = StringIO()
    console = Console(
        file=buffer,
        width=width,
        force_terminal=styled,
        force_jupyter=False,
        color_system="standard" if styled else None,
        no_color=True,
        markup=False,
        highlight=False,
        emoji=False,
        legacy_windows=False,
    )
    for part in parts:
        console.print(part, soft_wrap=isinstance(part, CommandLine))
    lines = [line.rstrip() for line in buffer.getvalue().splitlines()]
    return "\n".join(lines).strip("\n") + "\n"


def heading(text: str) -> Text:
    """Return a line that leads."""
    return Text(clean(text), style="bold")


def section(title: str, body: Parts) -> Parts:
    """Return a titled block after a blank line, or nothing if its body is empty."""
    return [Text(""), heading(title), *body] if body else []


def paragraph(text: str, indent: int = 0, *, limit: int = 2000) -> Padding:
    """Return wrapped text."""
    return Padding(Text(clean(text, limit)), (0, 0, 0, indent))


def item(lead: str, text: str, indent: int = 0, *, width: int = 1) -> Padding:
    """Return wrapped text beside a number or a time, its lines set in below one another.

    Args:
        lead: what stands at the left.
        text: what is wrapped beside it.
        indent: columns left free at the left.
        width: columns of what stands at the left, where several are one below the other.
    """
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True, min_width=width)
    grid.add_column(overflow="fold")
    grid.add_row(Text(clean(lead)), Text(clean(text, 2000)))
    return Padding(grid, (0, 0, 0, indent), expand=False)


def height(parts: Iterable[RenderableType], width: int = 80) -> int:
    """Return how many lines the parts take."""
    return render(parts, width).count("\n")


def command(text: str, indent: int = 2) -> CommandLine:
    """Return a command to be copied: on one line, however long it is."""
    return CommandLine(f"{' ' * indent}{spelled(text)}")


def own_words(line: str, indent: int = 0) -> Padding:
    """Return a line of somebody's own words, wrapped and otherwise to the letter."""
    return Padding(OwnWords(spelled(line)), (0, 0, 0, indent))


def table(
    columns: Sequence[tuple[str, JustifyMethod]],
    rows: Iterable[Sequence[str]],
    *,
    indent: int = 2,
    gap: int = 1,
) -> Padding:
    """Return a table without lines; every cell is already clean text.

    Args:
        columns: title and side (``left`` or ``right``) of each column.
        rows: one cell a column.
        indent: columns left free at the left.
        gap: columns left free between two.
    """
    titled = any(title for title, _ in columns)
    grid = Table(
        box=None, pad_edge=False, padding=(0, gap, 0, 0), show_edge=False, show_header=titled
    )
    rows = [tuple(row) for row in rows]
    whole = max((len(row[0]) for row in rows), default=0) <= LONGEST_LEAD
    for at, (title, side) in enumerate(columns):
        grid.add_column(
            Text(title),
            justify=side,
            header_style="dim",
            overflow="fold",
            no_wrap=whole and at == 0,
        )
    for row in rows:
        grid.add_row(*(Text(cell) for cell in row))
    return Padding(grid, (0, 0, 0, indent), expand=False)
