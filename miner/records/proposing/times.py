"""Which columns hold the times of a record, and the one format they share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.errors import several
from miner.records.proposing.cells import Column
from miner.records.proposing.notes import Notes
from miner.records.proposing.words import (
    DURATION,
    END,
    NOT_AN_AMOUNT,
    NOT_THE_TIME,
    START,
    time_unit,
)
from miner.records.samples import modal_gap
from miner.records.times import read_times


@dataclass(frozen=True, slots=True)
class TimeColumns:
    """The columns that may hold the time of a record.

    Attributes:
        only: columns of single times.
        start, end: columns of starts and of ends.
        duration: columns of lengths.
        other: columns of times whose names say that they are not when it was measured.
    """

    only: tuple[Column, ...]
    start: tuple[Column, ...]
    end: tuple[Column, ...]
    duration: tuple[Column, ...]
    other: tuple[Column, ...] = ()

    @property
    def interval(self) -> bool:
        """Return whether a start and its end or length are there."""
        return bool((self.start or self.only) and (self.end or self.duration))


def time_columns(columns: Sequence[Column]) -> TimeColumns:
    """Sort the columns of a file into those that may hold its times."""
    timed = [each for each in columns if each.timed and not each.has(NOT_THE_TIME)]
    timed = timed or [each for each in columns if each.timed]
    end = [each for each in timed if each.has(END) and not each.has(START)]
    start = [each for each in timed if each.has(START) and each not in end]
    only = [each for each in timed if each not in end and each not in start]
    lengths = [each for each in columns if each.numeric and not each.has(NOT_AN_AMOUNT)]
    named = [each for each in lengths if each.has(DURATION)]
    other = [each for each in columns if each.timed and each not in timed]
    return TimeColumns(tuple(only), tuple(start), tuple(end), tuple(named), tuple(other))


def map_interval(found: TimeColumns, notes: Notes) -> None:
    """Map start and end, or start and duration."""
    begins = found.start or found.only
    _one("start", begins, "it holds times, and its name says where a record begins", notes)
    if found.end:
        _one("end", found.end, "it holds times, and its name says where a record ends", notes)
        return
    length = _one("duration", found.duration, "it holds numbers, and its name says length", notes)
    if length is not None:
        _duration_unit(length, notes)


def map_moment(found: TimeColumns, notes: Notes) -> None:
    """Map the time of a record that has only one."""
    reason = "it is the column with times"
    if found.other:
        listed = ", ".join(f"'{each.name}'" for each in found.other)
        reason += f"; {listed} holds times too, which by its name are not those of the reading"
    _one("time", found.only or found.start or found.end, reason, notes)


def _one(key: str, among: Sequence[Column], reason: str, notes: Notes) -> Column | None:
    if len(among) == 1:
        notes.map(key, among[0].name, reason)
        return among[0]
    options = tuple(f'{key} = "{each.name}"' for each in among)
    told = f"{len(among)} columns may be the {key}" if among else f"no column looks like the {key}"
    notes.leave(f"columns.{key}", told, options, needed=True)
    return None


def _duration_unit(column: Column, notes: Notes) -> None:
    unit = time_unit(column.words)
    if unit is not None:
        notes.unit("duration", unit, f"the name '{column.name}' says so")
        return
    middle = float(np.nanmedian(column.values))
    options = tuple(f'duration = "{each}"' for each in ("s", "min", "h"))
    told = f"half of the lengths are {middle:g} or less, and no unit is named"
    notes.leave("units.duration", told, options, needed=True)


def map_format(columns: Sequence[Column], notes: Notes) -> NDArray[np.datetime64]:
    """Choose the time format that the mapped times share; return the times of the first column.

    Args:
        columns: the columns of the file.
        notes: holds the mapped columns, gets the format.
    """
    mapped = _mapped(columns, notes)
    written = [each.written for each in mapped if each.written is not None]
    if not written:
        return np.zeros(0, dtype="datetime64[ns]")
    shared = [form for form in written[0].formats if all(form in w.formats for w in written)]
    if len(shared) == 1:
        decides = min(written, key=lambda each: len(each.formats))
        notes.choose("time_format", shared[0], decides.reason)
    else:
        forms = tuple(dict.fromkeys(form for w in written for form in w.formats))
        told = written[0].reason if shared else "start and end are written in different ways"
        notes.leave(
            "time_format",
            told + _leaning(mapped[0], forms),
            tuple(f'time_format = "{form}"' for form in forms if form is not None),
            needed=True,
        )
    _zone(any(w.offset for w in written), notes)
    return _stamps(mapped[0], (shared or list(written[0].formats))[0])


def stamps_of(columns: Sequence[Column], notes: Notes) -> NDArray[np.datetime64]:
    """Return the times of the first mapped column, by the first format that fits it."""
    mapped = _mapped(columns, notes)
    if not mapped or mapped[0].written is None:
        return np.zeros(0, dtype="datetime64[ns]")
    stamps = _stamps(mapped[0], mapped[0].written.formats[0])
    return stamps[~np.isnat(stamps)]


def _mapped(columns: Sequence[Column], notes: Notes) -> list[Column]:
    names = [notes.columns[key] for key in ("time", "start", "end") if key in notes.columns]
    return [each for name in names for each in columns if each.name == name and each.written]


def _leaning(column: Column, forms: Sequence[str | None]) -> str:
    told = []
    for form in forms:
        days = np.unique(_stamps(column, form).astype("datetime64[D]"))
        days = days[~np.isnat(days)]
        if len(days) > 1:
            widest = int(np.diff(days).max() / np.timedelta64(1, "D"))
            told.append(f"'{form}' leaves at most {several(widest, 'day')} between two dates")
    return f" ({'; '.join(told)})" if len(told) > 1 else ""


def _stamps(column: Column, form: str | None) -> NDArray[np.datetime64]:
    return read_times(pd.Series(column.text, dtype="str"), form, None).clock


def _zone(offset: bool, notes: Notes) -> None:
    if offset:
        notes.choose("time_zone", None, "the times carry their own offset")
    else:
        told = "no offset stands in the times: they are taken as the client's own clock"
        notes.choose("time_zone", None, told)


def cadence_min(stamps: NDArray[np.datetime64]) -> float | None:
    """Return the commonest gap between two times in minutes, or None without two."""
    gap = modal_gap(stamps) if stamps.size else None
    return None if gap is None else float(gap / np.timedelta64(1, "s")) / 60
