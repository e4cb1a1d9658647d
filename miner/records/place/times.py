"""Turns written times into instants and wall-clock times.

Wall-clock times are placed in a zone: the hour that comes twice, and the hour that never comes.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from miner.core.facts import YEARS
from miner.core.messages import Message, message
from miner.records.columns import EPOCHS
from miner.records.read.iso8601 import (
    Lengths,
    Mask,
    Stamps,
    Written,
    read_iso,
    split_offset,
)

if TYPE_CHECKING:
    from miner.records.text_columns import Text


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
        own_offset: True where the offset of the wall clock stood in the file.
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
    """Return times in UTC on the wall clock of an offset that stands beside them.

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
