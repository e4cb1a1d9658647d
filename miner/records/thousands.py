"""Points and commas that may part thousands: read so only where the decimal sign is declared."""

from __future__ import annotations

import numpy as np
import pandas as pd

from miner.core.results import Severity
from miner.records.columns import COLUMNS, Number
from miner.records.findings import Findings
from miner.records.sources import Source
from miner.records.table_file import Mask, Table
from miner.records.text_columns import Text

_THREE = r"[-+]?[1-9]\d{{0,2}}(?:{0}\d{{3}})+"
_MARKS = {".": ",", ",": r"\."}
_TWICE = r"[-+]?\d{1,3}(?:\.\d{3}){2,}"
_DECIMAL_COMMA = r"[-+]?(?:\d+|\d{1,3}(?:\.\d{3})+),(?:\d{1,2}|\d{4,})"
_DECIMAL_POINT = r"[-+]?\d*\.(?:\d{1,2}|\d{4,})"
_WHOLE_SHARE, _FEWEST_KCAL = 0.05, 10.0
"""Where a column mixes so many whole numbers with points before three digits, these are thousands;
nobody eats meals of fewer kcal."""


def without_thousands(text: Text, decimal: str) -> Text:
    """Return numbers without the marks between thousands that go with a decimal sign."""
    other = "," if decimal == "." else "."
    grouped = text.str.fullmatch(_THREE.format(_MARKS[decimal]) + rf"(?:{_escaped(decimal)}\d+)?")
    return text.mask(grouped, text.str.replace(other, "", regex=False)) if grouped.any() else text


def _escaped(decimal: str) -> str:
    return r"\." if decimal == "." else decimal


def may_part_thousands(cells: Text, unit: str = "", most: float = np.inf) -> Mask:
    """Say which cells of a column have a point that is more likely for thousands: ``1.500``.

    Every point of the column stands before three digits. Beside that, it counts something, or has
    whole numbers too, or has two points in one number, or holds kcal that would be too few.

    Args:
        cells: the column as text.
        unit: of its values, where it is known.
        most: the largest value that is plausible; thousands beyond it are none.
    """
    dotted = cells.str.contains(".", regex=False).to_numpy(dtype=bool)
    grouped = cells.str.fullmatch(_THREE.format(r"\.")).to_numpy(dtype=bool)
    nothing = np.zeros(len(cells), dtype=bool)
    if not grouped.any() or (dotted & ~grouped).any():
        return nothing
    as_thousands = pd.to_numeric(cells[grouped].str.replace(".", "", regex=False))
    twice = cells.str.fullmatch(_TWICE).any()
    if not twice and (as_thousands.abs() > most).any():
        return nothing
    whole = cells.str.fullmatch(r"[1-9]\d*").sum()
    likely = unit == "count" or whole >= max(1, _WHOLE_SHARE * grouped.sum())
    likely |= twice
    if unit == "kcal" and not likely:
        likely = pd.to_numeric(cells[grouped], errors="coerce").median() < _FEWEST_KCAL
    return grouped if likely else nothing


def shows_comma(cells: Text) -> bool:
    """Say whether a decimal comma stands in a column."""
    return bool(cells.str.fullmatch(_DECIMAL_COMMA).any())


def shows_point(cells: Text) -> bool:
    """Say whether a decimal point stands in a column."""
    return bool(cells.str.fullmatch(_DECIMAL_POINT).any())


def doubt_thousands(table: Table, source: Source, findings: Findings) -> Table:
    """Make numbers unknown whose point may be for thousands, and ask; not where it is declared."""
    spec = COLUMNS[source.stream]
    mapped = {own: spec.numbers[key] for key, own in source.columns.items() if key in spec.numbers}
    if source.episodes:
        mapped[source.episodes.column] = Number("level", 0, np.inf)
    if "decimal" in source.model_fields_set:
        return table
    text = {
        own: table.text(own) for own in mapped if pd.api.types.is_string_dtype(table.cells[own])
    }
    comma = any(shows_comma(each) for each in text.values())
    cells = table.cells
    for own, each in text.items():
        number = mapped[own]
        doubtful = may_part_thousands(each, "count" if comma else number.unit, number.high)
        if not doubtful.any():
            continue
        findings.rows(
            Severity.QUESTION,
            "thousands",
            at=pd.DataFrame({"file": table.file, "row": table.rows[doubtful]}),
            shown=each[doubtful],
            stream=source.stream,
            column=own,
            values={"own": own},
        )
        cells = cells.assign(**{own: each.mask(doubtful, "")})
    return table if cells is table.cells else Table(table.file, cells, table.rows)
