"""Turns cells into numbers, words of a closed list, and folded words; what cannot be is told."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.results import Severity
from miner.records.columns import COLUMNS, Number, factor
from miner.records.findings import Findings
from miner.records.fold import fold
from miner.records.lengths import lengths
from miner.records.sources import Source
from miner.records.table_file import Table
from miner.records.text_columns import Text, repeated
from miner.records.thousands import without_thousands

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
_NOWHERE = pd.DataFrame({"file": [], "row": []})


def where_from(table: Table, mask: Mask) -> pd.DataFrame:
    """Return the file and line number of the rows for which the mask is true."""
    if not mask.any():
        return _NOWHERE
    return pd.DataFrame({"file": table.file, "row": table.rows[mask]})


def to_numbers(table: Table, column: str, source: Source) -> tuple[Floats, Mask]:
    """Return a column as numbers, and which cells hold something that is not a number.

    Marks between thousands are no fault where the decimal sign is declared.
    """
    cells = table.cells[column]
    if pd.api.types.is_numeric_dtype(cells) and not pd.api.types.is_bool_dtype(cells):
        values = cells.to_numpy(dtype=np.float64, na_value=np.nan)
        return values, np.isinf(values)
    text = table.text(column)
    if "decimal" in source.model_fields_set:
        text = without_thousands(text, source.decimal)
    if source.decimal == ",":
        text = text.where(~text.str.contains(".", regex=False), "?")
        text = text.str.replace(",", ".", regex=False)
    values = np.array(pd.to_numeric(text, errors="coerce"), dtype=np.float64)
    values[np.isinf(values)] = np.nan
    return values, np.isnan(values) & (text != "").to_numpy()


def to_lengths(table: Table, column: str, source: Source, unit: str | None) -> tuple[Floats, Mask]:
    """Return a column of lengths of time in its unit, and which cells hold none.

    Numbers, and lengths that tell their units (``1h 20m``); ``7:05`` where a unit is declared.
    """
    values, bad = to_numbers(table, column, source)
    if bad.any():
        values[bad] = lengths(table.text(column)[bad].reset_index(drop=True), unit)
        bad &= np.isnan(values)
    return values, bad


def levels_of(table: Table, column: str, source: Source) -> tuple[Floats, Mask]:
    """Return a column of levels as numbers, by what the file's words mean where that is said.

    Where it is said, a word that is not named has no level; blank cells are never bad.
    """
    if not source.levels:
        return to_numbers(table, column, source)
    text = table.text(column)
    values = np.array(fold_all(text).map(source.levels).astype("float64"))
    return values, np.isnan(values) & (text != "").to_numpy()


def unread_levels(table: Table, source: Source, level: pd.Series[float]) -> Mask:
    """Say in which rows a level of stress stands that has no number."""
    written = (table.text(source.columns["level"]) != "").to_numpy()
    return np.asarray(level.isna().to_numpy() & written)


def read_numbers(table: Table, source: Source, name: str, findings: Findings) -> Floats:
    """Return one of the stream's columns of numbers, in its unit; NaN where nothing usable stands.

    A number that is not plausible is left out of this column and told; the row stays.
    """
    spec: Number = COLUMNS[source.stream].numbers[name]
    if name in source.constants:
        return np.full(len(table.rows), float(source.constants[name]))
    column = source.columns[name]
    is_level = name == "level"
    if spec.unit == "min":
        values, bad = to_lengths(table, column, source, source.units.get(name))
    elif is_level:
        values, bad = levels_of(table, column, source)
    else:
        values, bad = to_numbers(table, column, source)
    if bad.any():
        written = table.text(column)[bad]
        colon = spec.unit == "min" and written.str.contains(":", regex=False).any()
        for_lengths = "records.lengths_with_colon" if colon else ""
        findings.rows(
            Severity.QUESTION if is_level or colon else Severity.LEFT_OUT,
            "unreadable_number",
            at=where_from(table, bad),
            shown=written,
            values={"column": column, "unit": spec.unit, "name": name},
            instead="records.levels_by_word" if is_level else for_lengths,
        )
    values = values * (factor(source.units.get(name, spec.unit), spec.unit) or 1.0)
    odd = (values < spec.low) | (values > spec.high)
    if odd.any():
        findings.rows(
            Severity.LEFT_OUT,
            "value_out_of_range",
            at=where_from(table, odd),
            shown=values[odd],
            values={"column": column, "low": spec.low, "high": spec.high, "unit": spec.unit},
        )
        values = np.where(odd, np.nan, values)
    return values


def read_words(table: Table, source: Source, name: str) -> Text:
    """Return one of the stream's columns of text, folded where case does not matter."""
    if name in source.constants:
        words = repeated(source.constants[name], len(table.rows))
    else:
        words = table.text(source.columns[name])
    return fold_all(words) if name in COLUMNS[source.stream].folded else words


def fold_all(words: Text) -> Text:
    """Fold a column of words."""
    code, unique = pd.factorize(words)
    return pd.Series([fold(str(word)) for word in unique], dtype="str")[code].reset_index(drop=True)


def read_choice(
    table: Table, source: Source, name: str, choices: Sequence[str], findings: Findings
) -> Text:
    """Return a column of words from a closed list; a blank where none of them stands."""
    words = fold_all(read_words(table, source, name))
    meant = source.words_for(name)
    if meant:
        words = words.map(lambda word: meant.get(word, word)).astype("str")
    strange = (~words.isin(["", *choices])).to_numpy()
    if strange.any():
        findings.rows(
            Severity.LEFT_OUT,
            "unknown_word",
            at=where_from(table, strange),
            shown=words[strange],
            values={
                "column": source.columns.get(name, name),
                "choices": tuple(choices),
                "table": "meals" if name == "meal" else "levels",
            },
        )
        words = words.mask(strange, "")
    return words
