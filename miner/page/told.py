"""What the commands print, as headings, paragraphs and tables of a page: the same words."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from miner.brief.said_of import of_client
from miner.brief.text.layout import OwnWords
from miner.page.words import for_page, plain_names

URGENT = "! "


@dataclass(frozen=True, slots=True)
class Block:
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


def blocks(parts: Iterable[RenderableType]) -> list[Block]:
    """Return the parts a command prints as pieces of a page; empty lines fall away."""
    made = [_block(part) for part in parts]
    return [item for item in made if item.text or item.columns]


def _block(part: RenderableType) -> Block:
    if isinstance(part, Padding):
        inner = part.renderable
        if isinstance(inner, Table):
            return _table(inner) if inner.show_header else _item(inner, part.left)
        text = inner.plain if isinstance(inner, Text) else str(inner)
        if isinstance(inner, OwnWords):
            return Block("text", text, min(part.left // 2, 2))
        if text.startswith(URGENT):
            return Block("urgent", for_page(text.removeprefix(URGENT)))
        return Block("text", for_page(text), min(part.left // 2, 2))
    text = part.plain if isinstance(part, Text) else str(part)
    if isinstance(part, Text) and "bold" in str(part.style):
        return Block("heading", for_page(text))
    return Block("strip", text.rstrip()) if text.strip() else Block("text")


def _table(table: Table) -> Block:
    columns = tuple(
        (_flat(column.header), "number" if column.justify == "right" else "")
        for column in table.columns
    )
    cells = [[_flat(cell) for cell in column.cells] for column in table.columns]
    return Block("table", columns=columns, rows=tuple(zip(*cells, strict=True)))


def _item(item: Table, left: int) -> Block:
    """Return a number or a time with its text as one text."""
    cells = [_flat(cell) for column in item.columns for cell in column.cells]
    return Block("text", for_page("  ".join(cells)), min(left // 2, 2))


def _flat(cell: RenderableType) -> str:
    text = cell.plain if isinstance(cell, Text) else str(cell)
    return plain_names(of_client(re.sub(r"\s+", " ", text).strip()))
