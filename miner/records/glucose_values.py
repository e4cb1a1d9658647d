"""Reads sensor values: numbers in mg/dL, LO and HI as censored, and nothing that cannot be."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from miner.core.results import Severity
from miner.records.cells import Floats, Mask, read_words, to_numbers, where_from
from miner.records.columns import factor
from miner.records.findings import Findings
from miner.records.glucose_units import impossible, wrong_unit
from miner.records.sources import Source
from miner.records.table_file import Table
from miner.records.text_columns import repeated

LOW = re.compile(r"(?:lo|low|<\s*\d+(?:[.,]\d+)?)", re.IGNORECASE)
HIGH = re.compile(r"(?:hi|high|>\s*\d+(?:[.,]\d+)?)", re.IGNORECASE)
_SAME_SHARE, _ROUNDED_MG_DL = 0.02, 1.5


def read_glucose(table: Table, source: Source, findings: Findings) -> dict[str, Any] | None:
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
        _tell_censored(table, column, low | high, findings)
        _tell_bad(table, column, unit, bad, findings)
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


def _compare(table: Table, source: Source, values: Floats, findings: Findings) -> None:
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
    findings.rows(
        Severity.QUESTION,
        "glucose_columns_differ",
        at=where_from(table, apart | alone),
        shown=table.text(column)[apart | alone],
        values={"column": column},
    )


def _tell_censored(table: Table, column: str, censored: Mask, findings: Findings) -> None:
    findings.rows(
        Severity.NOTE,
        "glucose_censored",
        at=where_from(table, censored),
        shown=table.text(column)[censored],
        values={"column": column},
    )


def _tell_bad(table: Table, column: str, unit: str, bad: Mask, findings: Findings) -> None:
    findings.rows(
        Severity.LEFT_OUT,
        "glucose_unreadable",
        at=where_from(table, bad),
        shown=table.text(column)[bad],
        values={"column": column, "unit": unit},
    )
