"""Whether the values of a glucose column can be in the unit it is said to be in."""

from __future__ import annotations

import numpy as np

from miner.core.messages import Message, message
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
    others, rows = int(fitting.sum()), _rows(table, fitting)
    mixed = message("records.others_fit", n=others, unit=unit, rows=rows) if others else ""
    findings.add(
        Severity.STOP,
        "wrong_unit",
        file=table.file,
        row=int(table.rows[0]),
        count=int(known.size),
        values={
            "column": column,
            "middle": middle,
            "unit": unit,
            "other": _OTHER[unit],
            "other_column": _COLUMN[_OTHER[unit]],
            "side": message(f"records.{'below' if unit == 'mg/dL' else 'above'}"),
            "mixed": mixed,
        },
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
            "glucose_in_other_unit" if about else "glucose_impossible",
            at=where_from(table, mask),
            shown=written[mask],
            values={
                "column": column,
                "low": LOWEST_MG_DL * scale,
                "high": HIGHEST_MG_DL * scale,
                "unit": unit,
                "other": about,
                "rows": _rows(table, mask),
            },
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


def _rows(table: Table, mask: Mask) -> Message:
    rows = table.rows[mask].tolist()
    named, more = [str(row) for row in rows[:ROWS_NAMED]], len(rows) - ROWS_NAMED
    if more > 0:
        return message("records.rows_and_more", rows=named, more=more)
    return message("records.rows", n=len(rows), rows=named)
