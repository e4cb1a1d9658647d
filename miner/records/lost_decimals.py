"""Numbers whose decimals may stand in the next column: ``5,8`` between commas that part cells."""

from __future__ import annotations

import numpy as np
import pandas as pd

from miner.core.results import Severity
from miner.records.cells import to_numbers
from miner.records.columns import COLUMNS
from miner.records.findings import Findings
from miner.records.sources import Source
from miner.records.table_file import Table

_FEWEST, _SHARE = 6, 0.3
_FEWEST_READINGS = 24
_MOLAR = "glucose_mmol_l"


def lost_decimals(table: Table, source: Source, findings: Findings) -> bool:
    """Tell of columns whose decimals stand in the next one; say whether glucose cannot be used.

    The next column is one that nobody maps, the last of the file, and holds but one to three
    digits, beside whole numbers only. In mmol/L readings without a decimal are no accident.

    Args:
        table: the rows that are read.
        source: how they are read.
        findings: gets what is told.
    """
    numbers = COLUMNS[source.stream].numbers
    mapped = [name for name in numbers if name in source.columns]
    level = [source.episodes.column] if source.episodes else []
    stops = False
    for column in (*(source.columns[name] for name in mapped), *level):
        beside, molar = _beside(table, column, source), column == source.columns.get(_MOLAR)
        if not (beside or molar) or not _all_whole(table, column, source):
            continue
        if beside:
            stops |= molar
            _tell(table, column, beside, Severity.STOP if molar else Severity.QUESTION, findings)
        elif len(table.rows) >= _FEWEST_READINGS:
            findings.add(
                Severity.QUESTION,
                "lost_decimals",
                file=table.file,
                row=int(table.rows[0]),
                column=column,
            )
    return stops


def _all_whole(table: Table, column: str, source: Source) -> bool:
    values, _ = to_numbers(table, column, source)
    known = values[np.isfinite(values)]
    return known.size >= _FEWEST and bool((known % 1 == 0).all())


def _beside(table: Table, column: str, source: Source) -> str:
    """Return the column that may hold the decimals of another, or an empty text."""
    names = [str(name) for name in table.cells.columns]
    if source.delimiter != "," or column not in names[:-1]:
        return ""
    following = names[names.index(column) + 1]
    if following != names[-1] or following in source.needed:
        return ""
    cells = table.cells[following]
    if pd.api.types.is_float_dtype(cells):  # whole numbers with blanks between
        cells = cells.astype("Int64") if (cells.dropna() % 1 == 0).all() else cells
    text = cells.astype("str").where(cells.notna(), "").str.strip()
    written = text[text != ""]
    enough = len(written) >= max(_FEWEST, _SHARE * len(text))
    return following if enough and bool(written.str.fullmatch(r"\d{1,3}").all()) else ""


def _tell(table: Table, column: str, beside: str, severity: Severity, findings: Findings) -> None:
    findings.add(
        severity,
        "lost_decimals",
        told_as="lost_decimals_beside",
        file=table.file,
        row=int(table.rows[0]),
        column=column,
        values={"beside": beside},
    )
