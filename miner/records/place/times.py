"""Reads written times (ISO 8601, a format, counts since 1970) and places them in a zone.

A time is a date with at least hours and minutes; less than that (``T08``, ``T08:5``) is not a time.
A date alone is marked as one. An offset that cannot be used makes the whole text unreadable.
Dates by week (2026-W10-1) and by day of the year (2026-061) are read; 24:00 is the next midnight.
In most zones one hour of the year comes twice, and one never comes.

Source: ISO 8601-1:2019, 5.2 and 5.3, and its amendment 1 of 2022 on 24:00; RFC 3339, 5.6; RFC 9557,
4.1 (a zone's name in brackets).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from miner.core.facts import YEARS
from miner.core.messages import Message, message
from miner.records.columns import EPOCHS

if TYPE_CHECKING:
    from miner.records.text_columns import Text


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
_TIME_OF_DAY = (
    r"(?P<hour>\d\d|\d(?=:))(?P<colon>:?)(?P<minute>\d\d)"
    r"(?:(?P=colon)(?P<second>\d\d)(?:[.,](?P<part>\d{1,9}))?)?"
)
_CELL = re.compile(
    rf"{_DATE}(?P<timed>[Tt ]{_TIME_OF_DAY}(?: ?{_OFFSET}(?:\[[\w/+\-]+\])?)?)?", re.ASCII
)
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
        date_only: True where a date is without a time of day.
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
    """Return an offset in nanoseconds, NaT where there is none, or none that exists."""
    if found is None or not (found["sign"] or found["zulu"]):
        return _NAT, False
    hours, minutes, seconds = (int(found[part] or 0) for part in ("hours", "minutes", "seconds"))
    length = hours * 3600 + minutes * 60 + seconds
    if minutes > 59 or seconds > 59 or length >= LONGEST_OFFSET_S:
        return _NAT, False
    return (length if found["sign"] == "+" else -length) * _SECOND_NS, bool(found["zulu"])


def _read_cell(cell: str) -> tuple[int, int, bool, bool]:
    """Return one cell as it is in :class:`Written`, times in nanoseconds."""
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


@dataclass(frozen=True, slots=True)
class PlacedTimes:
    """Instants in UTC (NaT where the clock never showed that time), and which were doubtful."""

    instant: Stamps
    skipped: Mask
    repeated: Mask


def localise(clock: Stamps, zone: str) -> PlacedTimes:
    """Return the instants of wall-clock times, in the order in which they were written.

    In the hour that comes twice the first pass has the earlier offset; from where the clock
    steps back it is the second. A list that runs backwards is read from its end.

    Args:
        clock: wall-clock times (datetime64[ns], NaT allowed) in the order of the file.
        zone: name of a time zone.
    """
    instant = _in_utc(clock, zone, "NaT")
    skipped, repeated = (np.zeros(len(clock), dtype=bool) for _ in range(2))
    doubtful = np.flatnonzero(np.isnat(instant) & ~np.isnat(clock))
    if doubtful.size:
        summer = np.ones(len(doubtful), dtype=bool)
        first, second = (_in_utc(clock[doubtful], zone, each) for each in (summer, ~summer))
        skipped[doubtful] = np.isnat(first)
        repeated[doubtful] = ~np.isnat(first) & (first != second)
        later = _second_pass(clock, repeated)[doubtful]
        instant[doubtful] = np.where(later, second, first)
    return PlacedTimes(instant, skipped, repeated)


def _in_utc(clock: Stamps, zone: str, ambiguous: Mask | Literal["NaT"]) -> Stamps:
    index = pd.DatetimeIndex(clock)
    placed = index.tz_localize(zone, ambiguous=ambiguous, nonexistent="NaT")
    utc = placed.tz_convert("UTC").tz_localize(None)
    return np.array(utc.to_numpy(), dtype="datetime64[ns]")


def _second_pass(clock: Stamps, repeated: Mask) -> Mask:
    known = clock[~np.isnat(clock)]
    backwards = 2 * np.count_nonzero(known[1:] < known[:-1]) > len(known) - 1
    at = np.flatnonzero(repeated)
    if backwards:
        at = at[::-1]
    times, days = clock[at], clock[at].astype("datetime64[D]")
    result = np.zeros(len(clock), dtype=bool)
    for day in np.unique(days):
        here = at[days == day]
        steps_back = np.diff(times[days == day]).astype(np.int64) < 0
        result[here[1:]] = np.logical_or.accumulate(steps_back)
    return result


_END_OF_DAY = re.compile(r"(?<![\d:.])24(?=[:.]00(?:[:.]00)?(?!\d))")
_COUNT = re.compile(r"-?\d{1,16}(?:[.,]\d{1,9})?")


@dataclass(frozen=True, slots=True)
class Times:
    """Times as read, one for each row of the file.

    Attributes:
        instant: UTC where an offset or a zone was known, else the clock (datetime64[ns], NaT bad).
        clock: wall-clock time (datetime64[ns]).
        zoned: True where an offset or a zone was known.
        own_offset: True where the offset of the wall clock was in the file.
        date_only: True where there was a date without a time of day.
        skipped: True where the clock never showed that time (spring), so it has no instant.
        repeated: True where the clock showed that time twice (autumn).
        utc_only: True where UTC was written and no zone is known for the wall clock.
    """

    instant: Stamps
    clock: Stamps
    zoned: Mask
    own_offset: Mask
    date_only: Mask
    skipped: Mask
    repeated: Mask
    utc_only: Mask

    @property
    def bad(self) -> Mask:
        """True where no time could be read."""
        return np.isnat(self.instant) & ~self.skipped

    def or_else(self, others: Times, at: Mask) -> Times:
        """Return these times, and others where the mask is true."""
        both = {
            each.name: (getattr(self, each.name), getattr(others, each.name))
            for each in fields(self)
        }
        return Times(**{name: np.where(at, there, here) for name, (here, there) in both.items()})


def read_times(
    text: Text,
    time_format: str | None,
    zone: str | None,
    *,
    unit: str | None = None,
    dates_at_noon: bool = False,
) -> Times:
    """Read a column of times.

    Args:
        text: what is written, in the order of the file.
        time_format: strptime directives, or None for ISO 8601.
        zone: the zone of times without an offset, or None.
        unit: what the times count since 1970-01-01 in UTC (one of ``EPOCHS``), or None.
        dates_at_noon: place a date without a time of day in the middle of its day.

    Raises:
        ValueError: the time_format itself cannot be used.
    """
    if unit is not None:
        written = _counted(text, EPOCHS[unit])
    elif time_format is None:
        written = read_iso(text)
    else:
        written = _by_format(text, time_format)
    if dates_at_noon and written.date_only.any():
        later = np.where(written.date_only, np.timedelta64(12, "h"), np.timedelta64(0, "h"))
        written = replace(written, clock=written.clock + later)
    return _on_the_clock(written, zone)


def _on_the_clock(written: Written, zone: str | None) -> Times:
    own = ~np.isnat(written.offset)
    zulu = _utc(written, zone)
    clock, instant = written.clock, written.clock
    skipped, repeated = (np.zeros(len(own), dtype=bool) for _ in range(2))
    if zone is not None and not own.all():
        naive = localise(np.where(own, np.datetime64("NaT"), clock) if own.any() else clock, zone)
        instant, skipped, repeated = naive.instant, naive.skipped, naive.repeated
    if own.any():
        instant = np.where(own, written.clock - written.offset, instant)
    if zone is not None and zulu.any():
        clock = np.where(zulu, to_clock(instant, zone), clock)
    utc_only = zulu if zone is None else np.zeros(len(own), dtype=bool)
    zoned = own | (zone is not None)
    return Times(instant, clock, zoned, own, written.date_only, skipped, repeated, utc_only)


def _utc(written: Written, zone: str | None) -> Mask:
    """Return where the wall clock is not told: in UTC by name, or +00:00 all through."""
    known = written.offset[~np.isnat(written.offset)]
    if zone is not None and known.size and (known == np.timedelta64(0, "ns")).all():
        return ~np.isnat(written.offset)
    return written.zulu


def with_offsets(times: Times, offset: Lengths, zone: str | None) -> Times:
    """Return times in UTC on the wall clock of an offset that is next to them.

    Where no offset can be used the zone gives the wall clock; without a zone the time is lost.

    Args:
        times: read with the zone UTC.
        offset: of the wall clock from UTC (timedelta64[ns], NaT where it cannot be used).
        zone: the client's zone, or None.
    """
    known = ~np.isnat(offset)
    lost = ~known & (zone is None)
    instant = np.where(lost, np.datetime64("NaT"), times.instant)
    clock = instant + np.where(known, offset, np.timedelta64(0, "ns"))
    if zone is not None and not known.all():
        clock = np.where(known, clock, to_clock(instant, zone))
    nothing = np.zeros(len(known), dtype=bool)
    return replace(
        times, instant=instant, clock=clock, zoned=~nothing, own_offset=known, utc_only=nothing
    )


def to_clock(instant: Stamps, zone: str) -> Stamps:
    """Return the wall-clock times of instants (UTC) in a zone."""
    local = pd.DatetimeIndex(instant).tz_localize("UTC").tz_convert(zone).tz_localize(None)
    return local.to_numpy().astype("datetime64[ns]")


def _counted(text: Text, to_a_second: int) -> Written:
    """Read seconds or milliseconds since 1970; a rounded number such as 1.7E+12 is unreadable."""
    number = text.str.fullmatch(_COUNT).to_numpy(dtype=bool)
    plain = text.where(number, "").str.replace(",", ".", regex=False)
    seconds = np.array(pd.to_numeric(plain, errors="coerce"), dtype=np.float64) / to_a_second
    first, after = (np.datetime64(str(year), "s").astype(int) for year in (YEARS[0], YEARS[1] + 1))
    good = (seconds >= first) & (seconds < after)
    thousandths = np.round(np.where(good, seconds, 0) * 1000).astype(np.int64)
    clock = (thousandths * 1_000_000).astype("datetime64[ns]")
    clock[~good] = np.datetime64("NaT")
    offset = np.where(good, np.timedelta64(0, "ns"), np.timedelta64("NaT"))
    return Written(clock, offset, good, np.zeros(len(text), dtype=bool))


def _by_format(text: Text, time_format: str) -> Written:
    offset: Lengths = np.full(len(text), np.timedelta64("NaT", "ns"))
    zulu = np.zeros(len(text), dtype=bool)
    rest, plain = text, time_format
    if time_format.endswith("%z"):
        plain = time_format.removesuffix("%z").rstrip()
        rest, offset, zulu = split_offset(text)
    rest = _without_words(rest, plain)
    clock = _nanoseconds(pd.to_datetime(rest, format=plain, errors="coerce"))
    if np.isnat(clock).any():
        late = _ends_of_days(rest.where(np.isnat(clock), ""), plain)
        clock = np.where(np.isnat(late), clock, late)
    if plain != time_format:
        clock = np.where(np.isnat(offset), np.datetime64("NaT"), clock)
    date_only = ~np.isnat(clock) & (not re.search("%[HIXcT]", time_format))
    return Written(clock, offset, zulu, date_only)


def _ends_of_days(text: Text, time_format: str) -> Stamps:
    """Return the midnight after where 24:00 stands for the hour; nothing for other texts."""
    late = np.zeros(len(text), dtype=bool)
    if "%H" in time_format:
        late = text.str.contains(_END_OF_DAY).to_numpy(dtype=bool)
    if not late.any():
        return np.full(len(text), np.datetime64("NaT", "ns"))
    midnight = text.where(late, "").str.replace(_END_OF_DAY, "00", regex=True)
    begun = _nanoseconds(pd.to_datetime(midnight, format=time_format, errors="coerce"))
    return begun + np.timedelta64(1, "D")


def _without_words(text: Text, time_format: str) -> Text:
    # pandas takes "now" and "today" from the machine's clock, and a sign for an epoch
    first = text.str[:1]
    word = first.isin(list("nNtT")) & text.str.casefold().isin(["now", "today"])
    if time_format[:1] == "%":
        word |= first.isin(["-", "+"])
    return text.mask(word, "") if word.any() else text


def _nanoseconds(times: pd.Series) -> Stamps:
    values = times.to_numpy()
    if len(values) and values.dtype != np.dtype("datetime64[ns]"):
        first, after = (np.datetime64(str(year), "D") for year in (YEARS[0], YEARS[1] + 1))
        values = np.where((values < first) | (values >= after), np.datetime64("NaT"), values)
    return np.asarray(values, dtype="datetime64[ns]")


_CLOCK = re.compile(r"\d{1,2}[:.]\d{2}([:.]\d{2})?( ?[ap]\.?m\.?)?", re.IGNORECASE)
_NUMBER = re.compile(r"\d+(\.\d+)?")
_SPREADSHEET = (20_000, 80_000)
_SECONDS = (10**8, 10**10)


def hint(written: str) -> Message | None:
    """Return what a text that is no time seems to be and what to do, or None."""
    if _CLOCK.fullmatch(written):
        return message("records.seems_a_time_of_day")
    if not _NUMBER.fullmatch(written) or len(written) > 30:
        return None
    number = float(written)
    if _SPREADSHEET[0] <= number <= _SPREADSHEET[1]:
        return message("records.seems_a_number_of_days")
    if _SECONDS[0] <= number <= _SECONDS[1] * 1000:
        unit, key = ("seconds", "s") if number <= _SECONDS[1] else ("milliseconds", "ms")
        return message("records.seems_since_1970", unit=unit, key=key)
    return None
