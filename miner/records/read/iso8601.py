"""Reads times of ISO 8601, and the forms of an offset that databases write.

A time is a date with hours and minutes at least; what is less (``T08``, ``T08:5``) is no time. A
date alone is told apart. An offset that is written and cannot be used makes the whole unreadable.

Dates by week (2026-W10-1) and by day of the year (2026-061) are read; 24:00 is the next midnight.

Source: ISO 8601-1:2019, 5.2 and 5.3, and its amendment 1 of 2022 on 24:00; RFC 3339, 5.6; RFC 9557,
4.1 (a zone's name in brackets).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from miner.core.facts import YEARS

Stamps = NDArray[np.datetime64]
Lengths = NDArray[np.timedelta64]
Mask = NDArray[np.bool_]

PIECE = 250_000
"""So many cells are read at a time, so that what is made of them on the way stays small."""
LONGEST_OFFSET_S = 16 * 3600
"""No place ever had an offset of 16 hours. Source: IANA time zone database, 2025 (from memory)."""

_OFFSET = (
    r"(?:(?:UTC|GMT)? ?(?P<sign>[+\-\u2212])(?P<hours>\d\d|\d(?!\d))"
    r"(?:(?P<apart>:?)(?P<minutes>\d\d)(?:(?P=apart)(?P<seconds>\d\d))?)?|(?P<zulu>Z|z|UTC|GMT))"
)
_DATE = (
    r"(?:(?P<year>\d{4})(?P<mark>[-/.])(?P<month>\d{1,2})(?P=mark)(?P<day>\d{1,2})"
    r"|(?P<whole>\d{8}|\d{4}(?:-W\d\d-|W\d\d)[1-7])"
    r"|(?P<of_year>\d{4})(?P<hyphen>-?)(?P<ordinal>\d{3}))"
)
_CLOCK = (
    r"(?P<hour>\d\d|\d(?=:))(?P<colon>:?)(?P<minute>\d\d)"
    r"(?:(?P=colon)(?P<second>\d\d)(?:[.,](?P<part>\d{1,9}))?)?"
)
_CELL = re.compile(rf"{_DATE}(?P<timed>[Tt ]{_CLOCK}(?: ?{_OFFSET}(?:\[[\w/+\-]+\])?)?)?", re.ASCII)
_OFFSET_ALONE = re.compile(_OFFSET, re.ASCII)
_OFFSET_LAST = re.compile(rf"(?P<rest>.*?\d) ?{_OFFSET}", re.ASCII)
_TIME = r"^\d{4}-\d\d-\d\d[T ](?:[01]\d|2[0-3]):\d\d(?::\d\d(?:\.\d{1,9})?)?"
_PLAIN, _PLAIN_AWARE = _TIME + "$", _TIME + r"(?:Z|[+-]\d\d:?\d\d)$"
_TIMED_LENGTHS = {16, 19, *range(21, 30)}
_TAIL = 7
_STAMP, _LENGTH = "datetime64[ns]", "timedelta64[ns]"
_SECOND_NS, _NAT = 1_000_000_000, int(np.iinfo(np.int64).min)


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
    """Read some cells into their piece of what is found: in full where they are alike."""
    cells = pc.cast(pa.array(text, from_pandas=True), pa.large_string())
    if isinstance(cells, pa.ChunkedArray):
        cells = cells.combine_chunks()
    lengths = set(pc.unique(pc.binary_length(cells)).to_pylist())
    if 0 in lengths:
        cells = pc.if_else(pc.equal(cells, ""), None, cells)
    clock = _cast(cells, None) if lengths <= {0, None, *_TIMED_LENGTHS} else None
    if clock is not None:
        found.clock[:] = clock
        return
    rest = np.asarray(cells.is_valid().to_numpy(zero_copy_only=False))
    for pattern, zone in ((_PLAIN, None), (_PLAIN_AWARE, "UTC")):
        matches = pc.fill_null(pc.match_substring_regex(cells, pattern), False)
        at, some = matches.to_numpy(zero_copy_only=False), cells.filter(matches)
        clock = _cast(some, zone)
        if clock is not None and zone is not None:
            tails = pd.Series(pd.array(some, dtype="str")).str[-_TAIL:]
            _, offset, found.zulu[at] = split_offset(tails)
            found.offset[at], clock = offset, clock + offset
        if clock is not None:
            found.clock[at] = clock
            rest &= ~at
    each = np.array(list(map(_read_cell, cells.filter(pa.array(rest)).to_pylist())), dtype=np.int64)
    told = each.reshape(-1, 4).T
    found.clock[rest], found.offset[rest] = told[0].view(_STAMP), told[1].view(_LENGTH)
    found.zulu[rest], found.date_only[rest] = told[2], told[3]


def offsets(text: pd.Series[str]) -> tuple[Lengths, Mask]:
    """Read texts that are an offset (``+02:00``, ``-5``, ``Z``); NaT where one cannot be read."""
    return _offsets_in(_OFFSET_ALONE.fullmatch(each) for each in text.fillna(""))


def offsets_of(minutes: NDArray[np.float64]) -> Lengths:
    """Return numbers of minutes as offsets; NaT where no place ever had one."""
    known = np.abs(minutes) * 60 < LONGEST_OFFSET_S
    seconds = np.round(np.where(known, minutes, 0) * 60).astype(np.int64)
    found = (seconds * _SECOND_NS).astype(_LENGTH)
    return np.where(known, found, np.timedelta64("NaT"))


def split_offset(text: pd.Series[str]) -> tuple[pd.Series[str], Lengths, Mask]:
    """Return texts without the offset at their end, the offset (NaT: none), and where it is UTC.

    Where a text ends with no offset that can be used the first is empty.
    """
    code, unique = pd.factorize(text)
    found = [_OFFSET_LAST.fullmatch(each) for each in (*unique, "")]
    rest = pd.Series([each["rest"] if each else "" for each in found], dtype="str")
    offset, zulu = _offsets_in(found)
    return rest.iloc[code].reset_index(drop=True), offset[code], zulu[code]


def _cast(cells: pa.LargeStringArray, zone: str | None) -> Stamps | None:
    """Return the instants of a column, or None where one is written otherwise or out of reach."""
    try:
        # nanoseconds would let the year 2610 wrap around into one of ours
        cast = pc.cast(pc.cast(cells, pa.timestamp("us", zone)), pa.timestamp("us"))
    except pa.ArrowInvalid:
        return None
    clock = np.asarray(cast.to_numpy(zero_copy_only=False))
    first, after = (np.datetime64(str(year), "D") for year in (YEARS[0], YEARS[1] + 1))
    return None if ((clock < first) | (clock >= after)).any() else clock.astype(_STAMP)


def _offsets_in(found: Iterable[re.Match[str] | None]) -> tuple[Lengths, Mask]:
    """Return the offsets that were found, and where they are UTC by its name."""
    both = np.array([_offset_of(each) for each in found], dtype=np.int64).reshape(-1, 2)
    return both[:, 0].view(_LENGTH), both[:, 1].astype(bool)


def _offset_of(found: re.Match[str] | None) -> tuple[int, bool]:
    """Return an offset in nanoseconds, NaT where none stands or it is none that exists."""
    if found is None or not (found["sign"] or found["zulu"]):
        return _NAT, False
    hours, minutes, seconds = (int(found[part] or 0) for part in ("hours", "minutes", "seconds"))
    length = hours * 3600 + minutes * 60 + seconds
    if minutes > 59 or seconds > 59 or length >= LONGEST_OFFSET_S:
        return _NAT, False
    return (length if found["sign"] == "+" else -length) * _SECOND_NS, bool(found["zulu"])


def _read_cell(cell: str) -> tuple[int, int, bool, bool]:
    """Return one cell as it stands in :class:`Written`, times in nanoseconds."""
    found = _CELL.fullmatch(cell)
    clock, (offset, zulu) = _clock_of(found), _offset_of(found)
    if found is None or clock == _NAT or (found["sign"] and offset == _NAT):
        return _NAT, _NAT, False, False
    return clock, offset, zulu, not found["timed"]


def _clock_of(found: re.Match[str] | None) -> int:
    """Return the wall clock in nanoseconds since 1970, or NaT where there is no such time."""
    day = None if found is None else _date_of(found)
    if found is None or day is None:
        return _NAT
    hour, minute, second = (int(found[part] or 0) for part in ("hour", "minute", "second"))
    part = int((found["part"] or "").ljust(9, "0"))
    if minute > 59 or second > 59 or (hour, minute, second, part) > (24, 0, 0, 0):
        return _NAT
    days = day.toordinal() - date(1970, 1, 1).toordinal()
    return (days * 86_400 + hour * 3600 + minute * 60 + second) * _SECOND_NS + part


def _date_of(found: re.Match[str]) -> date | None:
    try:
        if found["whole"]:
            day = date.fromisoformat(found["whole"])
        elif found["year"]:
            day = date(int(found["year"]), int(found["month"]), int(found["day"]))
        elif found["hyphen"] or found["timed"]:
            day = date(int(found["of_year"]), 1, 1) + timedelta(int(found["ordinal"]) - 1)
        else:
            return None  # a day of the year without a hyphen is a number like any other
    except (ValueError, OverflowError):
        return None
    same = not found["ordinal"] or day.year == int(found["of_year"])
    return day if same and YEARS[0] <= day.year <= YEARS[1] else None
