"""Comma-separated values that a spreadsheet opens as what they are."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from io import StringIO
from typing import Any

from miner.core.files import safe_cell
from miner.words.safe import clean

# The most a cell of a usual spreadsheet holds is 32,767 characters.
LONGEST = 32_000


def sheet(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """Return rows as comma-separated values with a header.

    Numbers are written in full, what is undefined is empty, text a spreadsheet would take for a
    formula begins with an apostrophe, and marks that cannot be seen or turn the reading direction
    are spelled out.
    """
    buffer = StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow([_cell(name) for name in header])
    writer.writerows([_cell(value) for value in row] for row in rows)
    return buffer.getvalue()


def _cell(value: Any) -> str:
    if value is None or value != value:
        return ""
    if isinstance(value, bool):
        return str(int(value))
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, list | tuple):
        value = " + ".join(str(item) for item in value)
    if not isinstance(value, str):
        return str(value)
    return safe_cell(clean(value, LONGEST))
