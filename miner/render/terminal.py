"""A document on lines of a given width, for a terminal or a text file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from io import StringIO

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table as Grid
from rich.text import Text

from miner.words.document import Command, Fitted, Heading, Paragraph, Part, Parts, Strip, Table

LONGEST_LEAD = 44
"""The first column of a table is never broken where it is no wider than this."""
STRIP_LEAD = 24
"""Columns of what stands before a strip of days."""
URGENT = "! "


def render(parts: Iterable[Part], width: int = 80, *, styled: bool = False) -> str:
    """Return the parts as text, without a trailing blank line.

    Args:
        parts: what the ``*_parts`` functions of ``miner.words`` return.
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
    for part in fitted(parts):
        console.print(_printed(part), soft_wrap=isinstance(part, Command))
    lines = [line.rstrip() for line in buffer.getvalue().splitlines()]
    return "\n".join(lines).strip("\n") + "\n"


def fitted(parts: Iterable[Part]) -> Iterator[Heading | Paragraph | Command | Strip | Table]:
    """Return the parts, of what is there from ample to tight the first that fits."""
    for part in parts:
        if isinstance(part, Fitted):
            yield from fitted(_first_that_fits(part))
        else:
            yield part


def _first_that_fits(part: Fitted) -> Parts:
    *ample, tightest = part.choices
    fits = (each for each in ample if render(each, part.width).count("\n") <= part.most_lines)
    return next(fits, tightest)


def _printed(part: Heading | Paragraph | Command | Strip | Table) -> RenderableType:
    match part:
        case Heading():
            return Text(part.text, style="bold")
        case Command():
            return Text(f"{' ' * part.indent}{part.text}")
        case Strip():
            return Text(f"  {part.lead:{STRIP_LEAD}} {part.marks}")
        case Table():
            return Padding(_grid(part), (0, 0, 0, part.indent), expand=False)
    if part.lead is not None:
        grid = Grid.grid(padding=(0, 2, 0, 0))
        grid.add_column(no_wrap=True, min_width=part.lead_width)
        grid.add_column(overflow="fold")
        grid.add_row(Text(part.lead), Text(part.text))
        return Padding(grid, (0, 0, 0, part.indent), expand=False)
    mark = URGENT if part.urgent else ""
    return Padding(Text(f"{mark}{part.text}"), (0, 0, 0, part.indent))


def _grid(part: Table) -> Grid:
    grid = Grid(
        box=None,
        pad_edge=False,
        padding=(0, part.gap, 0, 0),
        show_edge=False,
        show_header=part.titled,
    )
    whole = max((len(row[0]) for row in part.rows), default=0) <= LONGEST_LEAD
    for at, (title, side) in enumerate(part.columns):
        grid.add_column(
            Text(title),
            justify=side,
            header_style="dim",
            overflow="fold",
            no_wrap=whole and at == 0,
        )
    for row in part.rows:
        grid.add_row(*(Text(cell) for cell in row))
    return grid
