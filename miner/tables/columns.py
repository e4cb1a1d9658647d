"""Columns of a stream as plain arrays: numbers, folded words, and where each row came from."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

DAY = 86_400
HOUR = 3_600

Times = NDArray[np.int64]
Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


def seconds(times: pd.Series) -> Times:
    """Return times as whole seconds since 1970-01-01, whatever resolution or zone they carry."""
    return times.to_numpy("datetime64[s]").astype(np.int64)


def iso_day(number: int) -> str:
    """Return the ISO date of a day number (days since 1970-01-01)."""
    return str(np.datetime64(int(number), "D"))


def minute_of(clock: Any) -> str:
    """Return a wall clock, seconds since 1970-01-01 or a time, as ISO text to the minute."""
    at: Any = np.datetime64(int(clock), "s") if isinstance(clock, int | np.integer) else clock
    return str(np.datetime64(at, "m"))


def stamps(times: Times) -> NDArray[np.datetime64]:
    """Return seconds since 1970-01-01 as numpy times."""
    return times.astype("datetime64[s]")


def from_usual(clock: Times | int, usual: int) -> Times:
    """Return how many seconds later than the usual clock time, from -12 h to just under 12 h."""
    half = DAY // 2
    return np.asarray((np.asarray(clock) - usual + half) % DAY - half, dtype=np.int64)


def usual_clock(clock: Times) -> int | None:
    """Return the median time of day in seconds after midnight, across midnight where need be.

    The clock is turned so that its circular mean is the middle, and the ordinary median is taken
    there. None without any time.
    """
    if clock.size == 0:
        return None
    angle = 2 * np.pi * (clock % DAY) / DAY
    centre = np.arctan2(np.sin(angle).sum(), np.cos(angle).sum())
    middle = round(float(centre) / (2 * np.pi) * DAY) % DAY
    return int(round(middle + float(np.median(from_usual(clock, middle)))) % DAY)


@dataclass(frozen=True, slots=True)
class Zones:
    """What the wall clock added to the instant, and from when.

    Attributes:
        begins: instants in seconds from which an offset was seen, ascending.
        offset: clock minus instant in seconds, one for each.
    """

    begins: Times
    offset: Times

    @classmethod
    def seen(cls, at: Times, clock: Times) -> Zones:
        """Return the offsets seen in pairs of instant and clock, in time order."""
        if at.size == 0:
            return cls(np.zeros(1, np.int64), np.zeros(1, np.int64))
        offset = clock - at
        first = np.flatnonzero(np.diff(offset, prepend=offset[0] + 1))
        return cls(at[first], offset[first])

    def instant(self, clock: Times | int) -> Times:
        """Return the instants of wall-clock times; of a repeated hour, the later one."""
        wanted = np.atleast_1d(np.asarray(clock, dtype=np.int64))
        found: Times = wanted - self.offset[0]
        for begins, offset in zip(self.begins[1:], self.offset[1:], strict=True):
            found = np.where(wanted - offset >= begins, wanted - offset, found)
        return found

    def clock(self, at: Times) -> Times:
        """Return the wall-clock times of instants."""
        place = np.searchsorted(self.begins, at, side="right") - 1
        return np.asarray(at + self.offset[np.maximum(place, 0)], dtype=np.int64)

    def journeys(self, hours: float = 2) -> list[tuple[int, float]]:
        """Return where the clock moved by at least so many hours: (instant, hours moved)."""
        moved = np.diff(self.offset) / HOUR
        far = np.flatnonzero(np.abs(moved) >= hours)
        return [(int(self.begins[k + 1]), float(moved[k])) for k in far]


def covered(minutes: float, window_seconds: int) -> float:
    """Return the share of a window that readings cover, at most 1; 0 for an empty window."""
    if window_seconds <= 0:
        return 0.0
    return min(1.0, round(minutes * 60 / window_seconds, 9))


def percent(share: float) -> int:
    """Return a share as whole per cent, rounded down so that too little never looks enough."""
    return int(round(share * 100, 6))


Source = tuple[str, int]

_ACCENTED = {
    "a": "àáâãäå", "c": "ç", "e": "èéêë", "i": "ìíîï", "n": "ñ", "o": "òóôõöø", "u": "ùúûü",
    "y": "ýÿ",
}  # fmt: skip


def numbers(column: pd.Series) -> Floats:
    """Return a column as floats, what is not noted as NaN."""
    return pd.to_numeric(column, errors="coerce").to_numpy(np.float64, na_value=np.nan)


def words(column: pd.Series) -> list[str]:
    """Return a column as folded text: no case, single spaces, empty where not noted."""
    given = column.tolist()
    folded = {item: fold(item) for item in set(given)}
    return [folded[item] for item in given]


def fold(text: Any) -> str:
    """Return text without case and with single spaces; empty for what is not text."""
    return " ".join(text.casefold().split()) if isinstance(text, str) else ""


def origins(frame: pd.DataFrame) -> list[Source]:
    """Return the (file, row) of every row of a stream."""
    return list(zip(map(str, frame["file"].tolist()), map(int, frame["row"].tolist()), strict=True))


def whole_words(listed: Iterable[str]) -> re.Pattern[str]:
    """Return a pattern for any of the words, whole and in the singular or with an s.

    A star at an end of a word stands for any letters; a letter also stands for itself with an
    accent.
    """
    choices = "|".join(_pattern(fold(word)) for word in listed)
    return re.compile(rf"\b(?:{choices})s?\b" if choices else r"(?!)")


def _pattern(word: str) -> str:
    return "".join(
        r"\w*"
        if letter == "*"
        else f"[{letter}{_ACCENTED[letter]}]"
        if letter in _ACCENTED
        else re.escape(letter)
        for letter in word
    )
