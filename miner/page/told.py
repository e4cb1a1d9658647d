"""What the commands print, as headings, paragraphs and tables of a page: the same words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from miner.render.terminal import fitted
from miner.words.document import Command, Heading, Paragraph, Part, Strip, Table

STRIP_LEAD = 34
"""Columns of what stands before a strip of days."""


@dataclass(frozen=True, slots=True)
class PageBlock:
    """One piece of a page.

    Attributes:
        kind: "heading", "text", "urgent", "strip" or "table".
        text: its words, where it is not a table.
        depth: how far it is set in, 0 to 2.
        columns: title and side of each column.
        rows: the cells.
    """

    kind: str
    text: str = ""
    depth: int = 0
    columns: tuple[tuple[str, str], ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


def blocks(parts: Iterable[Part]) -> list[PageBlock]:
    """Return a document as pieces of a page; empty lines fall away."""
    made = [_block(part) for part in fitted(parts)]
    return [item for item in made if item.text or item.columns]


def _block(part: Heading | Paragraph | Command | Strip | Table) -> PageBlock:
    match part:
        case Heading():
            return PageBlock("heading", part.text)
        case Command():
            return PageBlock("strip", f"{' ' * part.indent}{part.text}")
        case Strip():
            return PageBlock("strip", f"  {part.lead[:STRIP_LEAD]:{STRIP_LEAD}} {part.marks}")
        case Table():
            return _table(part)
    depth = min(part.indent // 2, 2)
    if part.own:
        return PageBlock("text", part.text, depth)
    if part.urgent:
        return PageBlock("urgent", part.text)
    return PageBlock("text", f"{part.lead}  {part.text}" if part.lead else part.text, depth)


def _table(part: Table) -> PageBlock:
    if not part.titled:
        cells = [_flat(row[at]) for at in range(len(part.columns)) for row in part.rows]
        return PageBlock("text", "  ".join(cells), min(part.indent // 2, 2))
    columns = tuple(
        (_flat(title), "number" if side == "right" else "") for title, side in part.columns
    )
    rows = tuple(tuple(_flat(cell) for cell in row) for row in part.rows)
    return PageBlock("table", columns=columns, rows=rows)


def _flat(cell: str) -> str:
    return " ".join(cell.split())
