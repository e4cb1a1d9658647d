"""Places wall-clock times in a zone: the hour that comes twice, and the hour that never comes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

_DAY_NS = 86_400 * 10**9
Stamps = NDArray[np.datetime64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Placed:
    """Instants in UTC (NaT where the clock never showed that time), and which were doubtful."""

    instant: Stamps
    skipped: Mask
    repeated: Mask


def localise(clock: Stamps, zone: str) -> Placed:
    """Return the instants of wall-clock times, in the order in which they were written.

    In the hour that comes twice the first pass has the earlier offset; from where the clock
    steps back it is the second. A list that runs backwards is read from its end.

    Args:
        clock: wall-clock times (datetime64[ns], NaT allowed) in the order of the file.
        zone: name of a time zone.
    """
    instant = _by_day(clock, zone)
    skipped, repeated = (np.zeros(len(clock), dtype=bool) for _ in range(2))
    doubtful = np.flatnonzero(np.isnat(instant) & ~np.isnat(clock))
    if doubtful.size:
        summer = np.ones(len(doubtful), dtype=bool)
        first, second = (_in_utc(clock[doubtful], zone, each) for each in (summer, ~summer))
        skipped[doubtful] = np.isnat(first)
        repeated[doubtful] = ~np.isnat(first) & (first != second)
        later = _second_pass(clock, repeated)[doubtful]
        instant[doubtful] = np.where(later, second, first)
    return Placed(instant, skipped, repeated)


def _by_day(clock: Stamps, zone: str) -> Stamps:
    """Return the instants, NaT where doubtful; a day that begins and ends alike has one offset."""
    ns = clock.astype("datetime64[ns]").view(np.int64)
    day = ns // _DAY_NS
    missing = np.isnat(clock)
    known = day[~missing] if missing.any() else day
    first, days = (int(known.min()), int(np.ptp(known)) + 1) if known.size else (0, 0)
    if days == 0 or days > len(clock):
        return _in_utc(clock, zone, "NaT")
    begins = np.arange(first, first + days + 1) * _DAY_NS
    offset = begins - _in_utc(begins.view("datetime64[ns]"), zone, "NaT").view(np.int64)
    steady = np.append(offset[1:] == offset[:-1], False)
    place = np.clip(day - first, -1, days)
    instant = (ns - offset[place]).view("datetime64[ns]")
    rest = np.flatnonzero(~steady[place])
    instant[rest] = _in_utc(clock[rest], zone, "NaT")
    return instant


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
