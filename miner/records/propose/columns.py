"""What the columns of a file hold: times, offsets, numbers, words of a short list, or free text."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.results.mapping import Option
from miner.records.columns import COLUMNS, EPOCHS
from miner.records.place.glucose import HIGH, LOW
from miner.records.place.times import read_times
from miner.records.read.cells import (
    in_words,
    may_part_thousands,
    shows_point,
    with_colon,
    without_thousands,
)

if TYPE_CHECKING:
    from miner.records.propose.exports import Exports
    from miner.records.propose.notes import Notes
    from miner.records.read.table_file import RawTable
    from miner.records.text_columns import Text

_CAMEL = re.compile(r"(?<=[a-z0-9])(?=[A-Z])")
_BREAK = re.compile(r"[^a-z0-9%]+")


def tokens(name: str) -> tuple[str, ...]:
    """Return the words of a header, folded, without accents.

    Example:
        >>> tokens("sleepDuration_in-Sec (min.)")
        ('sleep', 'duration', 'in', 'sec', 'min')
    """
    plain = _CAMEL.sub(" ", name.replace("dL", "dl"))
    return tuple(part for part in _BREAK.split(folded(plain)) if part)


def folded(text: str) -> str:
    """Return text in small letters without accents."""
    plain = unicodedata.normalize("NFKD", text.replace("\u00df", "ss"))
    return "".join(mark for mark in plain if not unicodedata.combining(mark)).casefold()


Stamps = NDArray[np.datetime64]
Floats = NDArray[np.float64]
MINUTE = np.timedelta64(1, "m")
_FARTHEST_MIN = 14 * 60
_CELL = re.compile(
    r"(?P<date>(?P<first>\d{1,4})(?P<s>[./-])\d{1,2}(?P=s)(?P<last>\d{4}|\d\d)"
    r"|\d{1,2}(?P<n>[\x20-])[A-Za-z]{3,9}\.?(?P=n)\d{2,4}|[A-Za-z]{3,9}\x20\d{1,2},\x20\d{4}"
    r"|20\d{6}(?=\d{4}(?:\d\d)?$))"
    r"(?:(?P<gap>[\x20T,]*)\d{1,2}(?P<c>[:.]?)\d\d(?P<sec>(?P=c)\d\d)?(?P<frac>[.,]\d+)?"
    r"(?P<half>(?P<halfgap>\x20?)[AaPp]\.?[Mm]\.?)?"
    r"(?P<offset>(?P<offgap>\x20?)(?:[Zz]|[+-]\d\d:?\d\d))?)?"
)
_NAMED = ("%d{0}%b{0}%Y", "%d{0}%B{0}%Y", "%d{0}%b{0}%y", "%d{0}%B{0}%y", "%b %d, %Y", "%B %d, %Y")
_SINCE = re.compile(r"\d{9,13}(?:\.\d+)?")
_COUNTS = (946_684_800, 2_524_608_000)
"""The years 2000 to 2050 as seconds since 1970."""
_LIKELY_YEARS = (10, 45)
_NEARLY_ALL, _TYPING_ERRORS = 0.95, 20
"""One order of a date holds where the other fails more than so many times as often."""


@dataclass(frozen=True, slots=True)
class WrittenForms:
    """How a column of times is written.

    Attributes:
        forms: the ways that fit, directives (None: ISO 8601) with the order; more than one: it
            cannot be decided.
        dates_only: there is no time of day in it.
        offset: there is an offset from UTC in it.
        code: why these.
        facts: the values of that.
        unit: epoch_s or epoch_ms where it counts from 1970, else empty.
    """

    forms: Mapping[str | None, str]
    dates_only: bool
    offset: bool
    code: str
    facts: Mapping[str, Any] = field(default_factory=dict)
    unit: str = ""


def how_written(column: Text, form: str | None = None) -> WrittenForms | None:
    """Return how the times of a column are written, or None where it does not hold times.

    Args:
        column: the whole column as text, a blank cell as an empty text.
        form: the directives that a person gives, or None.
    """
    cells = pd.Series(column[column != ""].unique(), dtype="str")
    if cells.empty:
        return None
    if form is not None and (~np.isnat(stamps_of(cells, form))).mean() > 1 - _NEARLY_ALL:
        dates_only = not re.search("%[HIXcT]", form)
        return WrittenForms({form: "given"}, dates_only, "%z" in form, "given")
    iso = read_times(cells, None, None)
    if (~iso.bad).mean() >= _NEARLY_ALL:
        dates_only, offset = bool(iso.date_only.mean() > 0.5), bool(iso.own_offset.mean() > 0.5)
        return WrittenForms({None: "year_first"}, dates_only, offset, "iso")
    if cells.str.fullmatch(_CELL).mean() >= _NEARLY_ALL:
        return _by_format(cells)
    return _since_1970(cells) if cells.str.fullmatch(_SINCE).mean() >= _NEARLY_ALL else None


def _since_1970(cells: Text) -> WrittenForms | None:
    counts = np.asarray(pd.to_numeric(cells, errors="coerce"), dtype=np.float64)
    for unit, to_a_second in EPOCHS.items():
        seconds = counts / to_a_second
        if ((seconds > _COUNTS[0]) & (seconds < _COUNTS[1])).mean() >= _NEARLY_ALL:
            facts = {"shown": cells.iloc[0]}
            return WrittenForms({None: unit}, False, False, "since_1970", facts, unit)
    return None


def _by_format(cells: Text) -> WrittenForms | None:
    parts = cells.str.extract(_CELL)
    clock = _clock_format(parts)
    orders = {f"{date}{clock}": order for date, order in _dates(parts).items()}
    fails = {form: np.isnat(stamps_of(cells, form)) for form in orders}
    if np.logical_and.reduce(list(fails.values())).mean() > 1 - _NEARLY_ALL:
        return None
    least = min(int(each.sum()) for each in fails.values())
    fitting = [form for form in fails if fails[form].sum() <= least * _TYPING_ERRORS]
    kept = {orders[form]: form for form in reversed(fitting)}
    forms: dict[str | None, str] = {form: order for order, form in reversed(kept.items())}
    first, code = next(iter(forms.items()))
    facts: dict[str, Any] = {"shown": cells.iloc[0]}
    if len(forms) == 1 and code in ("day_first", "month_first"):
        others = [fails[form] for form in fails if form != first]
        only = cells[np.logical_and.reduce([~fails[str(first)], *others])]
        facts = {"count": len(only), "shown": next(iter(only), cells.iloc[0])}
    code = code if len(forms) == 1 else "orders"
    return WrittenForms(forms, clock == "", "%z" in clock, code, facts)


def _dates(parts: pd.DataFrame) -> dict[str, str]:
    """Return the formats of the dates that the column may be written in, with their order."""
    numbers = parts.dropna(subset=["s"])
    if len(numbers) < len(parts) / 2:
        sign = next(iter(parts["n"].dropna().mode()), " ")
        if parts["date"].str.isdecimal().mean() > 0.5:
            return {"%Y%m%d": "year_first"}
        return {form.format(sign): "named" for form in _NAMED}
    s = numbers["s"].mode().iloc[0]
    if (numbers["first"].str.len() == 4).mean() > 0.5:
        return {f"%Y{s}%m{s}%d": "year_first", f"%Y{s}%d{s}%m": "year_first"}
    year = "%Y" if (numbers["last"].str.len() == 4).mean() > 0.5 else "%y"
    found = {f"%d{s}%m{s}{year}": "day_first", f"%m{s}%d{s}{year}": "month_first"}
    if year == "%y" and numbers["first"].astype("int64").between(*_LIKELY_YEARS).all():
        found[f"%y{s}%m{s}%d"] = "year_first"
    return found


def _clock_format(parts: pd.DataFrame) -> str:
    """Return the directives of the commonest time of day; empty where there is none."""
    known = parts[parts["gap"].notna()]
    if len(known) < len(parts) / 2:
        return ""
    usual = known.notna().mean() > 0.5
    gap, sign = (str(known[name].mode().iloc[0]) for name in ("gap", "c"))
    text = f"{gap}{'%I' if usual['half'] else '%H'}{sign}%M" + (f"{sign}%S" if usual["sec"] else "")
    if usual["frac"]:
        text += f"{known['frac'].dropna().iloc[0][0]}%f"
    if usual["half"]:
        text += f"{known['halfgap'].mode().iloc[0]}%p"
    return text + (f"{known['offgap'].mode().iloc[0]}%z" if usual["offset"] else "")


def stamps_of(cells: Text, form: str | None, unit: str = "") -> Stamps:
    """Return times as the clock shows them, NaT where they cannot be read so.

    Args:
        cells: the cells of a column.
        form: directives, or None for ISO 8601.
        unit: epoch_s or epoch_ms where they count from 1970.
    """
    try:
        return read_times(pd.Series(cells, dtype="str"), form, None, unit=unit or None).clock
    except ValueError:
        return np.full(len(cells), np.datetime64("NaT", "ns"))


_POINT = r"[-+]?(?:\d+\.?\d*|\.\d+)"
_COMMA = r"[-+]?(?:\d+|[1-9]\d{0,2}(?:\.\d{3})+),\d+"
_CLOCK = r"\d{1,2}:\d\d(:\d\d)?( ?[AaPp][Mm])?"
_OFFSET = r"(?:UTC|GMT)?[+-]\d{1,2}(?::?\d\d)?|Z"
_COUNT = r"20\d{6}(?:\d{4}(?:\d\d)?)?|\d{10}|\d{13}"
_OFFSETS = {"h": (14, 0.25), "min": (840, 15), "s": (50_400, 900)}
_MOSTLY, _FEW = 0.8, 12


@dataclass(frozen=True, eq=False)
class Column:
    """One column of the file.

    Attributes:
        name: as the header has it.
        words: the words of its name.
        text: its cells.
        written: how its times are written, or None where it holds none.
        values: its numbers; NaN where none can be read.
        numeric: it holds numbers.
        nothing: the words among its numbers that mean a missing one.
        odd: the other words among its numbers, the commonest first.
        unit: the one unit of time that its cells, such as 1h 20m, or its name say, or None.
        offset_unit: the unit of the offsets from UTC that it holds (empty: text), None without.
    """

    name: str
    words: tuple[str, ...]
    text: Text
    written: WrittenForms | None
    values: Floats
    numeric: bool
    nothing: tuple[str, ...]
    odd: tuple[str, ...]
    unit: str | None
    offset_unit: str | None

    @cached_property
    def filled(self) -> int:
        """How many of its cells are not blank."""
        return int((self.text != "").sum())

    @cached_property
    def counts(self) -> dict[str, int]:
        """How often each of its cells is there, the commonest first."""
        found = self.text[self.text != ""].value_counts()
        return {str(cell): int(count) for cell, count in found.items()}

    @cached_property
    def listed(self) -> tuple[str, ...]:
        """Its words, the commonest first, where they come from a short list."""
        return tuple(self.counts) if self.free and len(self.counts) <= _FEW else ()

    @property
    def free(self) -> bool:
        """Whether it holds text, or nothing."""
        return not self.numeric and self.written is None

    @property
    def timed(self) -> bool:
        """Whether it holds times of day with their dates."""
        return self.written is not None and not self.written.dates_only

    @property
    def glucose_unit(self) -> str | None:
        """The unit of glucose, where the words of its name say just one."""
        given = set(self.words)
        mass, molar = {"mg", "dl"} <= given or "mgdl" in given, bool({"mmol", "mmoll"} & given)
        return None if mass == molar else "mg/dL" if mass else "mmol/L"

    def stamps(self, form: str | None = "") -> Stamps:
        """Its times by the directives given, or by the first that fit; NaT without."""
        written = self.written
        if written is None:
            return np.full(len(self.text), np.datetime64("NaT", "ns"))
        first = next(iter(written.forms))
        return stamps_of(self.text, first if form == "" else form, written.unit)

    def minutes_to(self, end: Column) -> Floats:
        """The minutes from its times to those of another column; NaN where one is missing."""
        own, ends = (each.written.forms if each.written else () for each in (self, end))
        form = next((each for each in own if each in ends), "")
        return np.asarray((end.stamps(form) - self.stamps(form)) / MINUTE, dtype=np.float64)

    def minutes_apart(self, dated: Column) -> Floats | None:
        """The minutes from a count to a date next to it, where both tell one moment; else None."""
        gap = np.asarray((dated.stamps() - self.stamps()) / MINUTE, dtype=np.float64)
        known = gap[~np.isnan(gap)]
        near = known.size > 0 and (np.abs(known) <= _FARTHEST_MIN).all()
        quarters = np.abs(known - np.round(known / 15) * 15)
        return gap if near and (quarters < 1).all() else None

    @cached_property
    def middle(self) -> float:
        """The middle of its numbers above 0; NaN without any."""
        above = self.values[self.values > 0]
        return float(np.median(above)) if above.size else float("nan")


def columns_of(table: RawTable, notes: Notes, *, marked: bool) -> list[Column]:
    """Return the columns of a file, and choose the decimal sign from all of them.

    Args:
        table: its rows, every cell as text.
        notes: gets the choice.
        marked: numbers may be written with a decimal comma.
    """
    texts = {str(name): table.text(str(name)) for name in table.cells.columns}
    decimal = _decimal(texts, notes) if marked else ""
    form = notes.answers.get("time_format")
    return [_column(name, text, decimal, notes.book, form) for name, text in texts.items()]


def _decimal(texts: dict[str, Text], notes: Notes) -> str:
    """Choose the decimal sign, or ask where a mark may as well part thousands; empty: neither."""
    comma: list[dict[str, Any]] = []
    thousands: list[tuple[str, dict[str, Any]]] = []
    for name, text in texts.items():
        known = text[text != ""]
        with_comma = known.str.fullmatch(_COMMA)
        if with_comma.any() and (known.str.fullmatch(_POINT) | with_comma).mean() >= _MOSTLY:
            found = {"shown": str(known[with_comma].iloc[0]), "column": name}
            if known[with_comma].str.fullmatch(r"[-+]?[1-9]\d{0,2},\d{3}").all():
                thousands.append(("thousands", found))
            else:
                comma.append(found)
        elif (doubtful := may_part_thousands(known, *_unit_and_most(name, notes.book))).any():
            shown = str(known[doubtful].iloc[0])
            thousands.append(("thousands_point", {"shown": shown, "column": name}))
    if comma:
        notes.choose("decimal", ",", "comma", **comma[0])
    elif thousands and not any(shows_point(text) for text in texts.values()):
        code, facts = thousands[0]
        options = [
            Option(sign, {"decimal": sign}, "read_as", {"shown": _read_as(facts["shown"], sign)})
            for sign in ",."
        ]
        return notes.ask("decimal", code, options, needed=True, **facts) or ","
    return str(notes.get("decimal") or notes.given("decimal") or "")


def _unit_and_most(name: str, book: Exports) -> tuple[str, float]:
    """Return the unit of a column by its name, and the largest value that is plausible."""
    for stream, rule in book.streams.items():
        for key, column in rule.columns.items():
            number = COLUMNS[stream].numbers.get(key)
            if number and column.words.stand_in(tokens(name)):
                return number.unit, number.high
    return "", np.inf


def _read_as(written: str, decimal: str) -> str:
    return without_thousands(pd.Series([written]), decimal).iloc[0].replace(",", ".")


def _column(name: str, text: Text, decimal: str, book: Exports, form: str | None) -> Column:
    known = text[text != ""]
    plain = without_thousands(text, decimal) if decimal else text
    plain = plain.str.replace(",", ".", regex=False) if decimal == "," else plain
    values = np.array(pd.to_numeric(plain, errors="coerce"), dtype=np.float64)
    values[np.isinf(values)] = np.nan
    values, in_words = _with_lengths(name, text, values, book)
    left = known[np.isnan(values[(text != "").to_numpy()])].value_counts()
    numbers = len(known) - int(left.sum())
    left = left if numbers else left[:0]
    nothing = [str(cell) for cell in left.index if book.words["nothing"].mean(str(cell))]
    beyond = [each for each in left.index if LOW.fullmatch(each) or HIGH.fullmatch(each)]
    missing = int(left[left.index.isin([*nothing, *beyond])].sum())
    numeric = numbers > 0 and numbers >= _MOSTLY * (len(known) - missing)
    counted = numeric and known.str.fullmatch(_COUNT).mean() > _MOSTLY
    written = how_written(text, form) if form or counted or not numeric else None
    odd = tuple(str(each) for each in left.index if each not in (*nothing, *beyond))
    numeric = numeric and written is None
    words = tokens(name)
    unit = "min" if in_words else book.unit_of_time(words)
    offset = None
    if numeric:
        offset = _offset_unit(values) if book.times["offset"].stand_in(words) else None
    elif written is None and len(known) and known.str.fullmatch(_OFFSET).all():
        offset = ""
    return Column(name, words, text, written, values, numeric, tuple(nothing), odd, unit, offset)


def _offset_unit(values: NDArray[np.float64]) -> str | None:
    """Return the unit in which numbers may all be offsets from UTC, or None."""
    known = values[~np.isnan(values)]
    for unit, (most, step) in _OFFSETS.items():
        if (np.abs(known) <= most).all() and (known % step == 0).all():
            return unit
    return None


def _with_lengths(
    name: str, text: Text, values: NDArray[np.float64], book: Exports
) -> tuple[NDArray[np.float64], bool]:
    """Return numbers with the lengths of time among the other cells; whether words tell these.

    With a colon (7:05) they are wholes and sixtieths of a unit, where the name says a length.
    """
    rest = np.isnan(values) & (text != "").to_numpy()
    other = text[rest].reset_index(drop=True)
    told = in_words(other)
    if len(other) and (~np.isnan(told)).mean() >= _MOSTLY:
        values[rest] = told
        return values, True
    if len(other) and book.says_length(tokens(name)):
        values[rest] = with_colon(other)
    return values, False
