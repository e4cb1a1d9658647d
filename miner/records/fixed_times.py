"""Reads the first column of a plain file as times, where every row is laid out alike.

A short cut for long files: years of readings, ISO 8601, one row a line, nothing quoted. Any row
that is laid out in another way, and the file is read as text instead.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

_SIGNS = {4: "-", 7: "-", 13: ":", 16: ":"}
_ZERO = np.uint8(ord("0"))
_LENGTHS = (16, 19)
Bytes = NDArray[np.uint8]
Places = NDArray[np.int64]
Stamps = NDArray[np.datetime64]


@dataclass(frozen=True, slots=True)
class Fixed:
    """Times of every row, and how they are written.

    Attributes:
        times: wall-clock times (datetime64[ns]).
        mark: what stands between date and time of day, T or a space.
        unit: m or s, the last thing written.
    """

    times: Stamps
    mark: str
    unit: Literal["m", "s"]

    def text(self) -> NDArray[np.str_]:
        """Return the times as they are written."""
        text = np.datetime_as_string(self.times, unit=self.unit)
        return text if self.mark == "T" else np.char.replace(text, "T", self.mark)

    def keep(self, mask: NDArray[np.bool_]) -> Fixed:
        """Return those of some rows."""
        return replace(self, times=self.times[mask])


def fixed_times(body: bytes, delimiter: str, columns: int) -> Fixed | None:
    """Return the times in the first column, or None where not every row is laid out alike.

    Args:
        body: the rows as UTF-8 with LF line ends.
        delimiter: the mark between two cells.
        columns: how many there are.
    """
    end = len(delimiter.encode())
    if not body or end != 1 or columns < 2 or b'"' in body:
        return None
    raw = np.frombuffer(body, dtype=np.uint8)
    ends = np.flatnonzero(raw == ord("\n"))
    if not body.endswith(b"\n"):
        ends = np.append(ends, len(body))
    starts = np.concatenate([[0], ends[:-1] + 1])
    size = body.find(delimiter.encode())
    if size not in _LENGTHS or (ends - starts).min() <= size:
        return None
    if (raw[size:][starts] != ord(delimiter)).any():
        return None
    if not _split_alike(raw, body, delimiter, columns, starts, ends):
        return None
    return _parsed(body, starts, size)


def _split_alike(
    raw: Bytes, body: bytes, delimiter: str, columns: int, starts: Places, ends: Places
) -> bool:
    """Say whether each row has all its cells and no more; the first one ends with a mark."""
    if body.count(delimiter.encode()) != len(ends) * (columns - 1):
        return False
    if columns == 2:
        return True
    marks = np.flatnonzero(raw == ord(delimiter)).reshape(len(ends), columns - 1)
    return not ((marks[:, 0] < starts).any() or (marks[:, -1] >= ends).any())


def _parsed(body: bytes, starts: Places, size: int) -> Fixed | None:
    shown = _characters(body, starts, size)
    mark = chr(shown[10][0])
    if mark not in "T " or (shown[10] != ord(mark)).any():
        return None
    if any((shown[at] != ord(sign)).any() for at, sign in _SIGNS.items() if at < size):
        return None
    digits = [shown[at] - _ZERO for at in range(size) if at != 10 and at not in _SIGNS]
    if any(digit.max() > 9 for digit in digits):
        return None
    year = digits[0].astype(np.int16) * 1000 + digits[1].astype(np.int16) * 100
    pairs = [digits[at] * 10 + digits[at + 1] for at in range(2, len(digits), 2)]
    year += pairs[0]
    month, day, hour, minute, *second = pairs[1:]
    if month.min() < 1 or month.max() > 12 or hour.max() > 23 or minute.max() > 59:
        return None
    if year.min() < 1900 or year.max() > 2200 or (second and second[0].max() > 59):
        return None
    months = (year - 1970) * 12 + month - 1
    first, last = int(months.min()), int(months.max())
    begins = np.arange(first, last + 2).astype("datetime64[M]").astype("datetime64[D]")
    months -= np.int16(first)
    if day.min() < 1 or (day > np.diff(begins).astype(np.uint8)[months]).any():
        return None
    minutes = begins.astype(np.int64).astype(np.int32)[months] + day
    minutes -= 1
    minutes *= 1440
    minutes += hour.astype(np.int16) * np.int16(60) + minute
    total = minutes.astype(np.int64)
    total *= 60_000_000_000
    if second:
        total += second[0] * np.int64(1_000_000_000)
    return Fixed(total.view("datetime64[ns]"), mark, "s" if second else "m")


def _characters(body: bytes, starts: Places, size: int) -> list[Bytes]:
    """Return the characters at the start of each row, one array a place; eight are read at once."""
    words = np.ndarray((len(body) - 7,), dtype="<u8", buffer=body, strides=(1,))
    found: list[Bytes] = []
    for place in (0, 8, 11) if size > 16 else (0, 8):
        eight = words[place:][starts].view(np.uint8).reshape(-1, 8)
        found += [eight[:, at] for at in range(len(found) - place, 8)]
    return found
