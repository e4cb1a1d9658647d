"""What the columns of a file hold: times, numbers, words of a short list, or free text."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.records.columns import LEVELS
from miner.records.fold import fold
from miner.records.glucose_values import HIGH, LOW
from miner.records.proposing.dates import Written, how_written
from miner.records.proposing.notes import Notes
from miner.records.proposing.words import NOTHING, tokens
from miner.records.table_file import Table, Text

_POINT = r"[-+]?(?:\d+\.?\d*|\.\d+)"
_COMMA = r"[-+]?\d+,\d+"
_MOSTLY = 0.8
_FEW = 12


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the file.

    Attributes:
        name: as the header has it.
        words: the words of its name.
        text: its cells.
        written: how its times are written, or None where it holds none.
        numeric: it holds numbers.
        values: its numbers; NaN where none can be read.
        rest: the different cells that are neither blank nor a number, the commonest first.
    """

    name: str
    words: tuple[str, ...]
    text: Text
    written: Written | None
    numeric: bool
    values: NDArray[np.float64]
    rest: tuple[str, ...]

    @property
    def blank(self) -> bool:
        """Return whether nothing stands in it."""
        return bool((self.text == "").all())

    @property
    def listed(self) -> tuple[str, ...]:
        """Return its words, the commonest first, where they come from a short list."""
        if self.written is not None or self.numeric or self.blank:
            return ()
        found = self.text[self.text != ""].value_counts()
        return tuple(map(str, found.index)) if 1 < len(found) <= _FEW else ()

    @property
    def timed(self) -> bool:
        """Return whether it holds times of day with their dates."""
        return self.written is not None and not self.written.dates_only

    def has(self, words: frozenset[str]) -> bool:
        """Return whether one of these words stands in its name."""
        return not words.isdisjoint(self.words)


def columns_of(table: Table, notes: Notes, *, marked: bool = True) -> list[Column]:
    """Return the columns of a file, and choose the decimal sign from all of them.

    Args:
        table: its rows, every cell as text.
        notes: gets the choice.
        marked: numbers may be written with a decimal comma.
    """
    texts = {name: table.text(name) for name in table.cells.columns}
    comma = marked and _decimal(texts, notes)
    return [_column(name, text, comma) for name, text in texts.items()]


def _decimal(texts: dict[str, Text], notes: Notes) -> bool:
    with_comma: list[tuple[str, str]] = []
    thousands: list[tuple[str, str]] = []
    with_point: list[str] = []
    for name, text in texts.items():
        known = text[text != ""]
        if known.empty:
            continue
        comma = known.str.fullmatch(_COMMA)
        if (known.str.fullmatch(_POINT) | comma).mean() < _MOSTLY:
            continue
        if comma.any():
            three = known[comma].str.fullmatch(r"[-+]?\d{1,3},\d{3}").all()
            (thousands if three else with_comma).append((name, str(known[comma].iloc[0])))
        elif known.str.contains(".", regex=False).any():
            with_point.append(name)
    if with_comma:
        name, shown = with_comma[0]
        notes.choose("decimal", ",", f"'{shown}' stands in '{name}'")
    elif thousands:
        name, shown = thousands[0]
        told = f"'{shown}' in '{name}' may be a decimal comma or a sign for thousands"
        notes.leave("decimal", told, ('decimal = ","',), needed=True)
    else:
        shown = f" ('{with_point[0]}')" if with_point else ""
        notes.choose("decimal", None, f"numbers are written with a point{shown}, or whole")
    return bool(with_comma or thousands)


def _column(name: str, text: Text, comma: bool) -> Column:
    known = text[text != ""]
    plain = text.str.replace(",", ".", regex=False) if comma else text
    values = np.array(pd.to_numeric(plain, errors="coerce"), dtype=np.float64)
    values[np.isinf(values)] = np.nan
    left = known[np.isnan(values[(text != "").to_numpy()])]
    odd = left.value_counts()
    words = tokens(name)
    nothing = left[left.str.casefold().isin(NOTHING | {"lo", "hi", "low", "high"})]
    numbers = len(known) - len(left)
    numeric = len(known) > 0 and numbers >= max(1, _MOSTLY * (len(known) - len(nothing)))
    written = None if numeric and not _compact(known) else how_written(text)
    rest = tuple(map(str, odd.index))
    return Column(name, words, text, written, numeric and written is None, values, rest)


def _compact(known: Text) -> bool:
    return bool(known.str.fullmatch(r"20\d{6}[T ]?\d{4}(\d\d)?").mean() > _MOSTLY)


def propose_not_measured(column: Column, notes: Notes) -> None:
    """Choose the words that stand for nothing in a column of numbers; leave the others open."""
    shown = [each for each in column.rest if not (LOW.fullmatch(each) or HIGH.fullmatch(each))]
    known = [each for each in shown if each.casefold() in NOTHING]
    if known:
        listed = [*notes.entry.get("not_measured", []), *known]
        told = f"they stand in '{column.name}' where a number is missing"
        notes.choose("not_measured", list(dict.fromkeys(listed)), told)
    other = [each for each in shown if each.casefold() not in NOTHING and fold(each) not in LEVELS]
    if other:
        told = f"'{other[0]}' stands among the numbers of '{column.name}'; it may mean nothing"
        notes.leave("not_measured", told, tuple(f'not_measured = ["{each}"]' for each in other[:3]))
