"""Whether the values of a glucose column can be in the unit it is said to be in."""

from __future__ import annotations

from shlex import quote

import numpy as np

from miner.core.results import Severity
from miner.records.cells import Floats, Mask, where_from
from miner.records.columns import HIGHEST_MG_DL, LOWEST_MG_DL, factor
from miner.records.findings import Findings
from miner.records.table_file import Table

LEAST_MG_DL, MOST_MMOL_L = 25.0, 40.0
MOST_OTHER = 15.0
"""Impossible values of a mg/dL column are taken for mmol/L where half of them are below this."""
ROWS_NAMED = 5
_COLUMN = {"mg/dL": "glucose_mg_dl", "mmol/L": "glucose_mmol_l"}
_OTHER = {"mg/dL": "mmol/L", "mmol/L": "mg/dL"}


def wrong_unit(table: Table, column: str, unit: str, written: Floats, findings: Findings) -> bool:
    """Tell, with a finding that stops, that the middle value cannot be in this unit.

    Values of 0 and below are passed over: they are in no unit.

    Args:
        table: the file.
        column: its column of values.
        unit: the unit it is said to be in.
        written: the values as they stand there, (rows,).
        findings: gets what is told.
    """
    known = written[written > 0]
    if known.size == 0:
        return False
    middle = float(np.median(known))
    if middle >= LEAST_MG_DL if unit == "mg/dL" else middle <= MOST_MMOL_L:
        return False
    fitting = _possible(written, unit) & ~_as_other(written, unit)
    mixed = ""
    if fitting.any():
        mixed = (
            f"; {int(fitting.sum())} others may be {unit} all the same ({_rows(table, fitting)})"
        )
    findings.add(
        Severity.STOP,
        f"half of the values in '{column}' are {'below' if unit == 'mg/dL' else 'above'} "
        f"{middle:g}, which cannot be {unit}{mixed}",
        f"values in {unit}",
        f"If the file is in {_OTHER[unit]}, map the column to {_COLUMN[_OTHER[unit]]} in "
        f'sources.toml ("miner map {quote(table.file)}" shows the entry). A unit is never guessed.',
        file=table.file,
        row=int(table.rows[0]),
        count=int(known.size),
    )
    return True


def impossible(table: Table, column: str, unit: str, written: Floats, findings: Findings) -> Mask:
    """Return which values no sensor shows, and tell of them; some may be in the other unit."""
    odd = ~np.isnan(written) & ~_possible(written, unit)
    if not odd.any():
        return odd
    other = _suspected(written, odd, unit)
    scale = factor("mg/dL", unit) or 1.0
    for mask, about in ((odd & ~other, ""), (other, _OTHER[unit])):
        findings.rows(
            Severity.QUESTION if about else Severity.LEFT_OUT,
            f"{{n}} value(s) of '{column}' outside any possible range"
            + (f", as if in {about} ({_rows(table, mask)})" if about else ""),
            f"{LOWEST_MG_DL * scale:.3g} to {HIGHEST_MG_DL * scale:.3g} {unit}",
            f"See whether these rows are in {about}. If so, export them in one unit, or put them "
            "into a file of their own. Until then they are left out."
            if about
            else "Check them in the raw file.",
            at=where_from(table, mask),
            shown=written[mask],
        )
    return odd


def _possible(written: Floats, unit: str) -> Mask:
    values = written * (factor(unit, "mg/dL") or 1.0)
    return (values >= LOWEST_MG_DL) & (values <= HIGHEST_MG_DL)


def _as_other(written: Floats, unit: str) -> Mask:
    """Say which values would be a possible glucose in the other unit."""
    return _possible(written, _OTHER[unit])


def _suspected(written: Floats, odd: Mask, unit: str) -> Mask:
    """Say which impossible values seem to be in the other unit: as a whole, or none of them."""
    other = odd & _as_other(written, unit)
    middle = float(np.median(written[other])) if other.any() else np.nan
    clear = middle < MOST_OTHER if unit == "mg/dL" else middle > MOST_MMOL_L
    return other if clear else np.zeros_like(odd)


def _rows(table: Table, mask: Mask) -> str:
    rows = table.rows[mask].tolist()
    more = f" and {len(rows) - ROWS_NAMED} more" if len(rows) > ROWS_NAMED else ""
    return f"row{'' if len(rows) == 1 else 's'} {', '.join(map(str, rows[:ROWS_NAMED]))}{more}"
