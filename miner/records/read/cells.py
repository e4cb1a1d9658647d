"""Turns cells into numbers, words of a closed list, and folded words; what cannot be is reported.

Numbers may have marks between thousands; lengths may be in words (``1h 20m``) or with colons.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import Severity
from miner.records.columns import COLUMNS, Number, factor
from miner.records.text_columns import Mask, Text, fold, repeated

if TYPE_CHECKING:
    from miner.records.findings import Findings
    from miner.records.read.sources import Source
    from miner.records.read.table_file import RawTable

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
    grouped = text.str.fullmatch(_THREE.format(_MARKS[decimal]) + rf"(?:{re.escape(decimal)}\d+)?")
    return text.mask(grouped, text.str.replace(other, "", regex=False)) if grouped.any() else text


def may_part_thousands(cells: Text, unit: str = "", most: float = np.inf) -> Mask:
    """Say which cells of a column have a point that is more likely for thousands: ``1.500``.

    Every point of the column is before three digits. Besides, it counts something, or has
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


def shows_point(cells: Text) -> bool:
    """Say whether a decimal point is in a column."""
    return bool(cells.str.fullmatch(_DECIMAL_POINT).any())


def doubt_thousands(table: RawTable, source: Source, findings: Findings) -> RawTable:
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
    comma = any(each.str.fullmatch(_DECIMAL_COMMA).any() for each in text.values())
    cells = table.cells
    for own, each in text.items():
        number = mapped[own]
        doubtful = may_part_thousands(each, "count" if comma else number.unit, number.high)
        if not doubtful.any():
            continue
        about = {"stream": source.stream, "column": own, "values": {"own": own}}
        shown = each[doubtful]
        findings.cells(Severity.QUESTION, "thousands", table, doubtful, shown=shown, **about)
        cells = cells.assign(**{own: each.mask(doubtful, "")})
    return table if cells is table.cells else replace(table, cells=cells)


_NUMBER = r"\d{1,4}(?:[.,]\d{1,6})?"
_HOURS = rf"(?P<h>{_NUMBER}) ?(?:h|hr|hrs|hours?|std|stunden?|horas?|heures?|ore)\.?"
_MINUTES = rf"(?P<m>{_NUMBER}) ?(?:m|min|mins|minutes?|minuten?|minutos?|minuti)\.?"
_SECONDS = rf"(?P<s>{_NUMBER}) ?(?:s|sec|secs|seconds?|sek|sekunden?|segundos?|secondi)\.?"
_WORDS = rf"(?i)^(?=\d)(?:{_HOURS})?,? ?(?:{_MINUTES})?,? ?(?:{_SECONDS})?$"
_LONG = r"^(?P<h>\d{1,3}):(?P<m>[0-5]\d):(?P<s>[0-5]\d)$"
_SHORT = r"^(?P<h>\d{1,3}):(?P<m>[0-5]\d)$"


def in_words(text: Text) -> np.ndarray:
    """Return the minutes that cells tell with their units, or as h:mm:ss; NaN where none does."""
    found = np.full(len(text), np.nan)
    for pattern in (_WORDS, _LONG):
        parts = text.str.extract(pattern)
        told = parts.notna().any(axis=1).to_numpy()
        amounts = parts.apply(lambda part: part.str.replace(",", ".", regex=False))
        h, m, s = (pd.to_numeric(amounts[name]).fillna(0).to_numpy(float) for name in "hms")
        found[told] = (h * 60 + m + s / 60)[told]
    return found


def with_colon(text: Text) -> np.ndarray:
    """Return wholes and sixtieths such as 7:05: hours where that is the unit, or minutes."""
    parts = text.str.extract(_SHORT)
    whole, sixtieth = (pd.to_numeric(parts[name]).to_numpy(float) for name in "hm")
    return np.asarray(whole + sixtieth / 60, dtype=np.float64)


def lengths(text: Text, unit: str | None) -> np.ndarray:
    """Return lengths in a unit (s, min, h), NaN where a cell is none; minutes without a unit.

    Without a unit ``7:05`` is none: it may be hours and minutes, or minutes and seconds.
    """
    told = in_words(text) * (factor("min", unit or "min") or 1.0)
    if unit not in ("min", "h"):
        return told
    return np.where(np.isnan(told), with_colon(text), told)


Floats = NDArray[np.float64]


def to_numbers(table: RawTable, column: str, source: Source) -> tuple[Floats, Mask]:
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


def to_lengths(
    table: RawTable, column: str, source: Source, unit: str | None
) -> tuple[Floats, Mask]:
    """Return a column of lengths of time in its unit, and which cells hold none.

    Numbers, and lengths that tell their units (``1h 20m``); ``7:05`` where a unit is declared.
    """
    values, bad = to_numbers(table, column, source)
    if bad.any():
        values[bad] = lengths(table.text(column)[bad].reset_index(drop=True), unit)
        bad &= np.isnan(values)
    return values, bad


def levels_of(table: RawTable, column: str, source: Source) -> tuple[Floats, Mask]:
    """Return a column of levels as numbers, by what the file's words mean where that is said.

    Where it is said, a word that is not named has no level; blank cells are never bad.
    """
    if not source.levels:
        return to_numbers(table, column, source)
    text = table.text(column)
    values = np.array(fold_all(text).map(source.levels).astype("float64"))
    return values, np.isnan(values) & (text != "").to_numpy()


def read_numbers(table: RawTable, source: Source, name: str, findings: Findings) -> Floats:
    """Return one of the stream's columns of numbers, in its unit; NaN without a usable one.

    A number that is not plausible is left out of this column and reported; the row stays.
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
        findings.cells(
            Severity.QUESTION if is_level or colon else Severity.LEFT_OUT,
            "unreadable_number",
            table,
            bad,
            column,
            values={"unit": spec.unit, "name": name},
            instead="records.levels_by_word" if is_level else for_lengths,
        )
    values = values * (factor(source.units.get(name, spec.unit), spec.unit) or 1.0)
    odd = (values < spec.low) | (values > spec.high)
    bounds = {"low": spec.low, "high": spec.high, "unit": spec.unit}
    about = {"shown": values[odd], "values": bounds}
    findings.cells(Severity.LEFT_OUT, "value_out_of_range", table, odd, column, **about)
    return np.where(odd, np.nan, values)


def read_words(table: RawTable, source: Source, name: str) -> Text:
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
    table: RawTable, source: Source, name: str, choices: Sequence[str], findings: Findings
) -> Text:
    """Return a column of words from a closed list; a blank where there is none of them."""
    words = fold_all(read_words(table, source, name))
    meant = source.words_for(name)
    if meant:
        words = words.map(lambda word: meant.get(word, word)).astype("str")
    strange = (~words.isin(["", *choices])).to_numpy()
    values = {
        "column": source.columns.get(name, name),
        "choices": tuple(choices),
        "table": "meals" if name == "meal" else "levels",
    }
    shown = words[strange]
    findings.cells(Severity.LEFT_OUT, "unknown_word", table, strange, shown=shown, values=values)
    return words.mask(strange, "")
