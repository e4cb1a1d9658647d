"""Turns written times into instants and wall-clock times."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.records.daylight import localise
from miner.records.table_file import Text

Stamps = NDArray[np.datetime64]
Mask = NDArray[np.bool_]
YEARS = (1900, 2200)
_FIRST, _AFTER = (np.datetime64(str(year), "D") for year in (YEARS[0], YEARS[1] + 1))
_OFFSET = re.compile(r"(?:[+-]\d\d:\d\d|(?:[:T]\d\d| )[+-]\d\d|[+-]\d{4})$")


@dataclass(frozen=True, slots=True)
class Times:
    """Times as read, one for each row of the file.

    Attributes:
        instant: UTC where an offset or a zone was known, else the clock (datetime64[ns], NaT bad).
        clock: wall-clock time (datetime64[ns]).
        zoned: True where an offset or a zone was known.
        own_offset: True where the offset stood in the file.
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


def read_times(
    text: Text, time_format: str | None, zone: str | None, *, dates_at_noon: bool = False
) -> Times:
    """Read a column of times.

    Args:
        text: what is written, in the order of the file.
        time_format: strptime directives, or None for ISO 8601.
        zone: the zone of times without an offset, or None.
        dates_at_noon: take a date without a time of day as 12:00.

    Raises:
        ValueError: the time_format itself cannot be used.
    """
    text = _without_words(text, time_format)
    written, offset, zulu = _parse(text, time_format)
    own = ~np.isnat(offset) if offset is not None else np.zeros(len(text), dtype=bool)
    date_only = _without_time_of_day(text, written, time_format)
    if dates_at_noon and date_only.any():
        written = np.where(date_only, written + np.timedelta64(12, "h"), written)
    clock = written.copy()
    instant = written.copy()
    skipped, repeated, utc_only = (np.zeros(len(text), dtype=bool) for _ in range(3))
    if zone is not None and not own.all():
        naive = localise(np.where(own, np.datetime64("NaT"), written), zone)
        instant = np.where(own, written, naive.instant)
        skipped, repeated = naive.skipped, naive.repeated
    if offset is not None:
        instant = np.where(own, written - offset, instant)
    if zulu is not None and zulu.any():
        if zone is None:
            utc_only = zulu
        else:
            clock = np.where(zulu, to_clock(instant, zone), clock)
    zoned = own | (zone is not None)
    return Times(instant, clock, zoned, own, date_only, skipped, repeated, utc_only)


def known_times(written: Stamps, zone: str | None) -> Times:
    """Return wall-clock times that were read already, none of them with an offset.

    Args:
        written: the times, in the order of the file.
        zone: their zone, or None.
    """
    nothing = np.zeros(len(written), dtype=bool)
    if zone is None:
        return Times(written, written, nothing, nothing, nothing, nothing, nothing, nothing)
    placed = localise(written, zone)
    return Times(
        placed.instant,
        written,
        ~nothing,
        nothing,
        nothing,
        placed.skipped,
        placed.repeated,
        nothing,
    )


def to_clock(instant: Stamps, zone: str) -> Stamps:
    """Return the wall-clock times of instants (UTC) in a zone."""
    local = pd.DatetimeIndex(instant).tz_localize("UTC").tz_convert(zone).tz_localize(None)
    return local.to_numpy().astype("datetime64[ns]")


def _without_words(text: Text, time_format: str | None) -> Text:
    # pandas takes "now" and "today" from the machine's clock, and a sign for an epoch
    if time_format is None:
        word = ~text.str[:1].isin(list("0123456789"))
    else:
        first = text.str[:1]
        word = first.isin(list("nNtT")) & text.str.casefold().isin(["now", "today"])
        word |= first.isin(["-", "+"]) & (time_format[:1] == "%")
    return text.mask(word, "") if word.any() else text


def _parse(
    text: Text, time_format: str | None
) -> tuple[Stamps, NDArray[np.timedelta64] | None, Mask | None]:
    if time_format is None:
        try:
            plain = pd.to_datetime(text, format="ISO8601", errors="coerce")
        except ValueError:
            plain = None
        if plain is not None and plain.dt.tz is None:
            return _nanoseconds(plain), None, None
        aware = pd.to_datetime(text, format="ISO8601", errors="coerce", utc=True)
    elif "%z" not in time_format:
        return _nanoseconds(pd.to_datetime(text, format=time_format, errors="coerce")), None, None
    else:
        aware = pd.to_datetime(text, format=time_format, errors="coerce", utc=True)
    instant = _nanoseconds(aware.dt.tz_localize(None))
    offset, zulu = _offsets(text)
    if time_format is not None:
        instant = np.where(np.isnat(offset), np.datetime64("NaT"), instant)
    return instant + np.where(np.isnat(offset), np.timedelta64(0, "ns"), offset), offset, zulu


def _nanoseconds(times: pd.Series) -> Stamps:
    values = times.to_numpy()
    if len(values) and values.dtype != np.dtype("datetime64[ns]"):
        outside = (values < _FIRST) | (values >= _AFTER)
        values = np.where(outside, np.datetime64("NaT"), values)
    return np.asarray(values, dtype="datetime64[ns]")


def _offsets(text: Text) -> tuple[NDArray[np.timedelta64], Mask]:
    code, tails = pd.factorize(text.str[-6:])
    known = [_offset_of(str(tail)) for tail in tails]
    offsets = np.array([*known, np.timedelta64("NaT", "ns")])[code]
    zulu = np.array([str(tail).endswith(("Z", "z")) for tail in tails] or [False])[code]
    return offsets, zulu


def _offset_of(tail: str) -> np.timedelta64:
    if tail[-1:] in ("Z", "z"):
        return np.timedelta64(0, "ns")
    found = _OFFSET.search(tail)
    if found is None:
        return np.timedelta64("NaT", "ns")
    signed = re.search(r"[+-].*$", found.group())
    digits = signed.group().replace(":", "") if signed else "+0"
    minutes = int(digits[1:3]) * 60 + int(digits[3:5] or 0)
    return np.timedelta64((-minutes if digits[0] == "-" else minutes) * 60_000_000_000, "ns")


def _without_time_of_day(text: Text, written: Stamps, time_format: str | None) -> Mask:
    midnight = written == written.astype("datetime64[D]")
    if time_format is not None:
        timed = any(part in time_format for part in ("%H", "%I", "%X", "%c", "%s"))
        return midnight if not timed else np.zeros(len(text), dtype=bool)
    result = np.zeros(len(text), dtype=bool)
    if midnight.any():
        result[midnight] = (text[midnight].str.len() <= 10).to_numpy()
    return result
