"""Reads times of ISO 8601, and the forms of an offset that databases write.

A time is a date with hours and minutes at least; what is less (``T08``, ``T08:5``) is no time. A
date alone is told apart. An offset that is written and cannot be used makes the whole unreadable.

Dates by week (2026-W10-1) and by day of the year (2026-061) are read; 24:00 is the next midnight.

Source: ISO 8601-1:2019, 5.2 and 5.3, and its amendment 1 of 2022 on 24:00; RFC 3339, 5.6; RFC 9557,
4.1 (a zone's name in brackets).
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from miner.core.period import YEARS
from miner.records.text_columns import blank

Stamps = NDArray[np.datetime64]
Lengths = NDArray[np.timedelta64]
Mask = NDArray[np.bool_]

PIECE = 250_000
"""So many cells are read at a time, so that what is made of them on the way stays small."""
LONGEST_OFFSET_S = 16 * 3600
"""No place ever had an offset of 16 hours. Source: IANA time zone database, 2025 (from memory)."""

OFFSET = (
    r"(?:UTC|GMT)? ?(?P<sign>[+\-\x{2212}])(?:"
    r"(?P<h1>\d{1,2})(?::(?P<m1>\d\d)(?::(?P<s1>\d\d))?)?|(?P<h2>\d\d)(?P<m2>\d\d)(?P<s2>\d\d)?)"
    r"|(?P<zulu>Z|z|UTC|GMT)"
)
_DATE = (
    r"(?P<year>\d{4})(?:-(?P<mo1>\d{1,2})-(?P<d1>\d{1,2})|/(?P<mo2>\d{1,2})/(?P<d2>\d{1,2})"
    r"|\.(?P<mo3>\d{1,2})\.(?P<d3>\d{1,2})|(?P<mo4>\d\d)(?P<d4>\d\d)"
    r"|-W(?P<week1>\d\d)-(?P<weekday1>[1-7])|W(?P<week2>\d\d)(?P<weekday2>[1-7])"
    r"|-(?P<ordinal1>\d{3})|(?P<ordinal2>\d{3}))"
)
_CLOCK = (
    r"(?:(?P<hour1>\d{1,2}):(?P<minute1>\d\d)(?::(?P<second1>\d\d)(?:[.,](?P<part1>\d{1,9}))?)?"
    r"|(?P<hour2>\d\d)(?P<minute2>\d\d)(?:(?P<second2>\d\d)(?:[.,](?P<part2>\d{1,9}))?)?)"
)
_WHOLE = rf"^{_DATE}(?P<timed>[Tt ]{_CLOCK}(?: ?(?:{OFFSET})(?:\[[\w/+\-]+\])?)?)?$"
_TIME = r"^\d{4}-\d\d-\d\d[T ](?:[01]\d|2[0-3]):\d\d(?::\d\d(?:\.\d{1,9})?)?"
_PLAIN, _PLAIN_AWARE = _TIME + "$", _TIME + r"(?:Z|[+-]\d\d:?\d\d)$"
_TAIL = r"^.*?(?:(?P<zulu>Z)|(?P<sign>[+-])(?P<h1>\d\d):?(?P<m1>\d\d))$"
_TIMED_LENGTHS = {16, 19, *range(21, 30)}


@dataclass(frozen=True, slots=True)
class Written:
    """Times as they are written.

    Attributes:
        clock: what is written, without its offset (datetime64[ns], NaT where unreadable).
        offset: from UTC (timedelta64[ns]); NaT where none is written, or nothing can be read.
        zulu: True where UTC is written by its name: nothing is said of the wall clock.
        date_only: True where a date stands without a time of day.
    """

    clock: Stamps
    offset: Lengths
    zulu: Mask
    date_only: Mask


def read_iso(text: pd.Series[str]) -> Written:
    """Read a column of times of ISO 8601, piece by piece; an empty text is unreadable."""
    size = len(text)
    found = Written(
        np.full(size, np.datetime64("NaT", "ns")),
        np.full(size, np.timedelta64("NaT", "ns")),
        np.zeros(size, dtype=bool),
        np.zeros(size, dtype=bool),
    )
    for at in range(0, size, PIECE):
        piece = (getattr(found, field.name)[at : at + PIECE] for field in fields(Written))
        _read_piece(text.iloc[at : at + PIECE], Written(*piece))
    return found


def _read_piece(text: pd.Series[str], found: Written) -> None:
    """Read some cells into their piece of what is found."""
    cells = pc.cast(pa.array(text, from_pandas=True), pa.large_string())
    if isinstance(cells, pa.ChunkedArray):
        cells = cells.combine_chunks()
    if blank(text).any():
        cells = pc.if_else(pc.equal(cells, ""), None, cells)
    if not _alike(cells, found):
        plain = _matches(cells, _PLAIN)
        aware = _matches(cells, _PLAIN_AWARE)
        found.clock[plain] = _by_pandas(cells.filter(pa.array(plain)))
        _put_aware(cells, aware, _by_pandas(cells.filter(pa.array(aware))), found)
        _by_grammar(cells, ~plain & ~aware, found)


def offsets(text: pd.Series[str]) -> tuple[Lengths, Mask]:
    """Read texts that are an offset (``+02:00``, ``-5``, ``Z``); NaT where one cannot be read."""
    parts = _parts(pa.array(text, pa.large_string(), from_pandas=True), f"^(?:{OFFSET})$")
    return _offset_of(parts), (parts["zulu"] != "").to_numpy()


def offsets_of(minutes: NDArray[np.float64]) -> Lengths:
    """Return numbers of minutes as offsets; NaT where no place ever had one."""
    known = np.abs(minutes) * 60 < LONGEST_OFFSET_S
    seconds = np.round(np.where(known, minutes, 0) * 60).astype(np.int64)
    found = (seconds * 1_000_000_000).astype("timedelta64[ns]")
    return np.where(known, found, np.timedelta64("NaT"))


def split_offset(text: pd.Series[str]) -> tuple[pd.Series[str], Lengths, Mask]:
    """Return texts without the offset at their end, the offset (NaT: none), and where it is UTC.

    Where a text ends with no offset that can be used the first is empty.
    """
    code, unique = pd.factorize(text)
    cells = pa.array(np.append(unique, ""), pa.large_string(), from_pandas=True)
    parts = _parts(cells, rf"^(?P<rest>.*?\d) ?(?:{OFFSET})$")
    rest = pd.Series(parts["rest"].to_numpy()[code], dtype="str")
    return rest, _offset_of(parts)[code], (parts["zulu"] != "").to_numpy()[code]


def _alike(cells: pa.LargeStringArray, found: Written) -> bool:
    """Read a column of times in full, none with an offset or all of them; say whether it is one."""
    # in bytes: what is not ASCII cannot be cast
    lengths = set(pc.unique(pc.binary_length(cells)).to_pylist()) - {None}
    clock = _cast(cells, None) if lengths <= _TIMED_LENGTHS else None
    if clock is not None:
        found.clock[:] = clock
        return True
    if cells.null_count or not len(cells):
        return False
    code, tails = pd.factorize(pd.Series(pd.array(pc.utf8_slice_codeunits(cells, -6, None))))
    parts = _parts(pa.array(tails, pa.large_string(), from_pandas=True), _TAIL)
    offset, zulu = _offset_of(parts), (parts["zulu"] != "").to_numpy()
    size = np.where(zulu, 1, 5 + _colon(tails))
    base = set(np.unique(pc.utf8_length(cells).to_numpy() - size[code]).tolist())
    instant = None if np.isnat(offset).any() or base - _TIMED_LENGTHS else _cast(cells, "UTC")
    if instant is None:
        return False
    found.clock[:], found.offset[:], found.zulu[:] = (
        instant + offset[code],
        offset[code],
        zulu[code],
    )
    return True


def _colon(tails: pd.Index) -> Mask:
    return np.array([str(tail)[-3:-2] == ":" for tail in tails], dtype=bool)


def _cast(cells: pa.LargeStringArray, zone: str | None) -> Stamps | None:
    """Return the instants of a column, or None where one is written otherwise or out of reach."""
    try:
        # nanoseconds would let the year 2610 wrap around into one of ours
        cast = pc.cast(pc.cast(cells, pa.timestamp("us", zone)), pa.timestamp("us"))
    except pa.ArrowInvalid:
        return None
    clock = np.asarray(cast.to_numpy(zero_copy_only=False))
    return None if _outside(clock).any() else clock.astype("datetime64[ns]")


def _outside(clock: Stamps) -> Mask:
    first, after = (np.datetime64(str(year), "D") for year in (YEARS[0], YEARS[1] + 1))
    return np.asarray((clock < first) | (clock >= after))


def _matches(cells: pa.LargeStringArray, pattern: str) -> Mask:
    found = pc.fill_null(pc.match_substring_regex(cells, pattern), False)
    return np.asarray(found.to_numpy(zero_copy_only=False), dtype=bool)


def _by_pandas(cells: pa.LargeStringArray) -> Stamps:
    """Return the instants of times written in full, each with an offset or none of them."""
    if not len(cells):
        return np.zeros(0, dtype="datetime64[ns]")
    series = pd.Series(pd.array(cells, dtype="str"))
    parsed = pd.to_datetime(series, format="ISO8601", errors="coerce", utc=True)
    values = parsed.dt.tz_localize(None).to_numpy()
    if values.dtype != np.dtype("datetime64[ns]"):
        values = np.where(_outside(values), np.datetime64("NaT"), values)
    clock = values.astype("datetime64[ns]")
    clock[_outside(clock)] = np.datetime64("NaT")
    return np.asarray(clock)


def _put_aware(cells: pa.LargeStringArray, at: Mask, instant: Stamps, found: Written) -> None:
    if not at.any():
        return
    code, tails = pd.factorize(pd.Series(cells.filter(pa.array(at))).str[-6:])
    parts = _parts(pa.array(tails, pa.large_string(), from_pandas=True), _TAIL)
    offset = _offset_of(parts)[code]
    found.offset[at] = np.where(np.isnat(instant), np.timedelta64("NaT"), offset)
    found.clock[at] = instant + offset
    found.zulu[at] = (parts["zulu"] != "").to_numpy()[code] & ~np.isnat(found.clock[at])


def _by_grammar(cells: pa.LargeStringArray, at: Mask, found: Written) -> None:
    if not at.any():
        return
    parts = _parts(cells.filter(pa.array(at)), _WHOLE)
    clock, offset = _clock_of(parts), _offset_of(parts)
    stands = (parts["sign"] + parts["zulu"] != "").to_numpy()
    clock[stands & np.isnat(offset)] = np.datetime64("NaT")
    readable = ~np.isnat(clock)
    found.clock[at] = clock
    found.offset[at] = np.where(readable, offset, np.timedelta64("NaT"))
    found.zulu[at] = readable & (parts["zulu"] != "").to_numpy()
    found.date_only[at] = readable & (parts["timed"] == "").to_numpy()


def _parts(cells: pa.Array, pattern: str) -> pd.DataFrame:
    """Return the named parts of a pattern as text, empty where a cell has none."""
    found = pc.extract_regex(cells, pattern)
    names = [field.name for field in found.type]
    columns = {name: pc.fill_null(pc.struct_field(found, name), "") for name in names}
    return pd.DataFrame({name: pd.array(cell, dtype="str") for name, cell in columns.items()})


def _one_of(parts: pd.DataFrame, *names: str) -> NDArray[np.int64]:
    """Return the number in the first of some parts that is not empty, 0 where all are."""
    text = parts[names[0]]
    for name in names[1:]:
        text = text + parts[name]
    return np.asarray(text.where(text != "", "0").astype("int64"))


def _clock_of(parts: pd.DataFrame) -> Stamps:
    year = _one_of(parts, "year")
    month = _one_of(parts, "mo1", "mo2", "mo3", "mo4")
    day = _one_of(parts, "d1", "d2", "d3", "d4")
    hour, minute, second = (
        _one_of(parts, f"{name}1", f"{name}2") for name in ("hour", "minute", "second")
    )
    nanoseconds = (parts["part1"] + parts["part2"]).str.pad(9, side="right", fillchar="0")
    part = np.asarray(nanoseconds.astype("int64"))
    good = (year >= YEARS[0]) & (year <= YEARS[1]) & (minute <= 59) & (second <= 59)
    good &= (hour <= 23) | ((hour == 24) & (minute == 0) & (second == 0) & (part == 0))
    date = _date_of(np.where(good, year, YEARS[0]), month, day)
    written = {each: _one_of(parts, f"{each}1", f"{each}2") for each in ("week", "ordinal")}
    if any(given.any() for given in written.values()):
        weekday = _one_of(parts, "weekday1", "weekday2")
        # a day of the year without hyphens is a number like any other, unless a time follows it
        bare = (parts["ordinal2"] != "") & (parts["timed"] == "")
        by_week = _date_of_week(year, written["week"], weekday, good)
        by_day = _date_of_day(year, written["ordinal"], good & ~bare.to_numpy())
        date = np.where(weekday > 0, by_week, np.where(written["ordinal"] > 0, by_day, date))
    good &= ~np.isnat(date)
    seconds = hour * 3600 + minute * 60 + second
    clock = date.astype("datetime64[ns]") + (seconds * 1_000_000_000 + part).astype(
        "timedelta64[ns]"
    )
    clock[~good] = np.datetime64("NaT")
    return np.asarray(clock)


def _date_of(
    year: NDArray[np.int64], month: NDArray[np.int64], day: NDArray[np.int64]
) -> NDArray[np.datetime64]:
    """Return dates by year, month and day; NaT where there is none."""
    good = (month >= 1) & (month <= 12)
    months = ((year - 1970) * 12 + np.where(good, month - 1, 0)).astype("datetime64[M]")
    begins, after = (each.astype("datetime64[D]") for each in (months, months + 1))
    good &= (day >= 1) & (day <= (after - begins).astype(np.int64))
    return np.where(good, begins + (day - 1), np.datetime64("NaT"))


def _date_of_week(
    year: NDArray[np.int64], week: NDArray[np.int64], weekday: NDArray[np.int64], good: Mask
) -> NDArray[np.datetime64]:
    """Return dates by ISO week and day of the week; week 1 is that of 4 January."""
    begins = _week_one(year)
    date = begins + 7 * (week - 1) + (weekday - 1)
    good = good & (week >= 1) & (begins + 7 * (week - 1) < _week_one(year + 1))
    return np.where(good, date, np.datetime64("NaT"))


def _week_one(year: NDArray[np.int64]) -> NDArray[np.datetime64]:
    fourth = (year - 1970).astype("datetime64[Y]").astype("datetime64[D]") + 3
    since_monday = (fourth.astype(np.int64) + 3) % 7  # 1970-01-01 was a Thursday
    return np.asarray(fourth - since_monday)


def _date_of_day(
    year: NDArray[np.int64], day: NDArray[np.int64], good: Mask
) -> NDArray[np.datetime64]:
    """Return dates by the day of the year."""
    years = (year - 1970).astype("datetime64[Y]")
    begins, after = (each.astype("datetime64[D]") for each in (years, years + 1))
    good = good & (day >= 1) & (day <= (after - begins).astype(np.int64))
    return np.where(good, begins + (day - 1), np.datetime64("NaT"))


def _offset_of(parts: pd.DataFrame) -> Lengths:
    """Return the offsets that the parts say, NaT where none stands or it is none that exists."""
    second = [name for name in ("s1", "s2") if name in parts]
    both = [[f"{unit}{way}" for way in "12" if f"{unit}{way}" in parts] for unit in "hm"]
    hours, minutes = (_one_of(parts, *names) for names in both)
    rest = _one_of(parts, *second) if second else np.zeros(len(parts), dtype=np.int64)
    seconds = hours * 3600 + minutes * 60 + rest
    signed = (parts["sign"] != "").to_numpy()
    good = signed & (minutes <= 59) & (rest <= 59) & (seconds < LONGEST_OFFSET_S)
    good |= (parts["zulu"] != "").to_numpy()
    seconds = np.where((parts["sign"] == "+").to_numpy(), seconds, -seconds)
    offset = (seconds * 1_000_000_000).astype("timedelta64[ns]")
    return np.where(good, offset, np.timedelta64("NaT"))
