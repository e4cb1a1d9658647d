"""Reads sensor values: numbers in mg/dL, LO and HI as censored, and nothing that cannot be.

A unit is never guessed: values that cannot be in the unit they are said to be in stop the file.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np

from miner.core.messages import Message, Severity, message
from miner.records.columns import HIGHEST_MG_DL, LOWEST_MG_DL, factor
from miner.records.read.cells import Floats, read_words, to_numbers
from miner.records.text_columns import Mask, repeated

if TYPE_CHECKING:
    from miner.records.findings import Findings
    from miner.records.read.sources import Source
    from miner.records.read.table_file import RawTable

LEAST_MG_DL, MOST_MMOL_L = 25.0, 40.0
MOST_OTHER = 15.0
"""Impossible values of a mg/dL column are taken for mmol/L where half of them are below this."""
ROWS_NAMED = 5
_COLUMN = {"mg/dL": "glucose_mg_dl", "mmol/L": "glucose_mmol_l"}
_OTHER = {"mg/dL": "mmol/L", "mmol/L": "mg/dL"}


def wrong_unit(
    table: RawTable, column: str, unit: str, written: Floats, findings: Findings
) -> bool:
    """Tell, with a finding that stops, that the middle value cannot be in this unit.

    Values of 0 and below are passed over: they are in no unit.

    Args:
        table: the file.
        column: its column of values.
        unit: the unit it is said to be in.
        written: the values as they are written there, (rows,).
        findings: gets what is reported.
    """
    known = written[written > 0]
    if known.size == 0:
        return False
    middle = float(np.median(known))
    if middle >= LEAST_MG_DL if unit == "mg/dL" else middle <= MOST_MMOL_L:
        return False
    fitting = _possible(written, unit) & ~_possible(written, _OTHER[unit])
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


def impossible(
    table: RawTable, column: str, unit: str, written: Floats, findings: Findings
) -> Mask:
    """Return which values no sensor shows, and report them; some may be in the other unit."""
    odd = ~np.isnan(written) & ~_possible(written, unit)
    if not odd.any():
        return odd
    other = _suspected(written, odd, unit)
    scale = factor("mg/dL", unit) or 1.0
    for mask, about in ((odd & ~other, ""), (other, _OTHER[unit])):
        findings.cells(
            Severity.QUESTION if about else Severity.LEFT_OUT,
            "glucose_in_other_unit" if about else "glucose_impossible",
            table,
            mask,
            column,
            shown=written[mask],
            values={
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


def _suspected(written: Floats, odd: Mask, unit: str) -> Mask:
    """Say which impossible values seem to be in the other unit: as a whole, or none of them."""
    other = odd & _possible(written, _OTHER[unit])
    middle = float(np.median(written[other])) if other.any() else np.nan
    clear = middle < MOST_OTHER if unit == "mg/dL" else middle > MOST_MMOL_L
    return other if clear else np.zeros_like(odd)


def _rows(table: RawTable, mask: Mask) -> Message:
    rows = table.rows[mask].tolist()
    named, more = [str(row) for row in rows[:ROWS_NAMED]], len(rows) - ROWS_NAMED
    if more > 0:
        return message("records.rows_and_more", rows=named, more=more)
    return message("records.rows", n=len(rows), rows=named)


LOW = re.compile(r"(?:lo|low|<\s*\d+(?:[.,]\d+)?)", re.IGNORECASE)
HIGH = re.compile(r"(?:hi|high|>\s*\d+(?:[.,]\d+)?)", re.IGNORECASE)
_SAME_SHARE, _ROUNDED_MG_DL = 0.02, 1.5


def read_glucose(table: RawTable, source: Source, findings: Findings) -> dict[str, Any] | None:
    """Read the values of one file.

    Returns:
        Columns glucose (mg/dL), censored, unit (of the file), sensor, left_out and has_value
        (False where the cell was blank); None, with a finding that stops, where the unit cannot
        be right.
    """
    name = next(n for n in ("glucose_mg_dl", "glucose_mmol_l") if n in source.columns)
    column = source.columns[name]
    unit = source.units.get(name, "mg/dL" if name == "glucose_mg_dl" else "mmol/L")
    written, bad = to_numbers(table, column, source)
    if wrong_unit(table, column, unit, written, findings):
        return None
    values = written * (factor(unit, "mg/dL") or 1.0)
    if {"glucose_mg_dl", "glucose_mmol_l"} <= set(source.columns):
        _compare(table, source, values, findings)
    censored = np.zeros(len(values), dtype=np.int8)
    if bad.any():
        text = table.text(column)
        low = bad & text.str.fullmatch(LOW).to_numpy(dtype=bool)
        high = bad & text.str.fullmatch(HIGH).to_numpy(dtype=bool)
        censored[low], censored[high] = -1, 1
        bad = bad & ~low & ~high
        values = np.where(bad | low | high, np.nan, values)
        findings.cells(Severity.NOTE, "glucose_censored", table, low | high, column)
        about = {"values": {"unit": unit}}
        findings.cells(Severity.LEFT_OUT, "glucose_unreadable", table, bad, column, **about)
    odd = impossible(table, column, unit, np.where(bad, np.nan, written), findings)
    reason = nothing = repeated("", len(values))
    if odd.any() or bad.any():
        reason = reason.mask(odd, "impossible_value").mask(bad, "not_a_number")
    if "sensor" in source.columns or "sensor" in source.constants:
        sensor = read_words(table, source, "sensor")
    else:
        sensor = nothing
    return {
        "glucose": values,
        "censored": censored,
        "unit": repeated(unit, len(values)),
        "sensor": sensor,
        "left_out": reason,
        "has_value": ~np.isnan(values) | bad | (censored != 0),
    }


def _compare(table: RawTable, source: Source, values: Floats, findings: Findings) -> None:
    """Tell that only the column in mg/dL is read, and ask where the other one contradicts it."""
    column = source.columns["glucose_mmol_l"]
    unit = source.units.get("glucose_mmol_l", "mmol/L")
    other = to_numbers(table, column, source)[0] * (factor(unit, "mg/dL") or 1.0)
    findings.add(
        Severity.NOTE,
        "glucose_in_two_columns",
        file=table.file,
        row=int(table.rows[0]),
        values={"first": source.columns["glucose_mg_dl"], "column": column},
    )
    apart = np.abs(other - values) > _SAME_SHARE * values + _ROUNDED_MG_DL
    alone = np.isnan(values) & ~np.isnan(other)
    findings.cells(Severity.QUESTION, "glucose_columns_differ", table, apart | alone, column)
