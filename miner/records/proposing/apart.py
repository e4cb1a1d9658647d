"""Proposes to put a column of dates and a column of times of day together."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from miner.records.proposing.cells import Column
from miner.records.proposing.dates import how_written
from miner.records.proposing.notes import Notes
from miner.records.sources import TIME_OF_DAY
from miner.records.time_of_day import MIDNIGHT, join

_CLOCK = r"\d{1,2}:\d\d(:\d\d)?( ?[AaPp][Mm])?"
_MOSTLY = 0.8
_AT_MIDNIGHT = re.compile(MIDNIGHT)


@dataclass(frozen=True, slots=True)
class Apart:
    """The names of a column of dates and of the column of their times of day."""

    date: str
    clock: str


def joined(columns: Sequence[Column], notes: Notes) -> tuple[list[Column], Apart | None]:
    """Return the columns with the time of day put to the dates, where no column holds both.

    Where there are several columns of dates or of times of day, none is put together and told.
    """
    dates = [each for each in columns if _dates_only(each)]
    clocks = [each for each in columns if each.text.str.fullmatch(_CLOCK).mean() > _MOSTLY]
    if not dates or not clocks or any(each.timed and each not in dates for each in columns):
        return list(columns), None
    if len(dates) > 1 or len(clocks) > 1:
        told = [", ".join(f"'{each.name}'" for each in some) for some in (dates, clocks)]
        notes.leave(
            "columns.time",
            f"dates stand in {told[0]} and times of day in {told[1]}; one column has to hold both",
            needed=True,
        )
        return list(columns), None
    date, clock = dates[0], clocks[0]
    text = join(date.text, clock.text)
    whole = replace(date, text=text, written=how_written(text))
    kept = [whole if each is date else each for each in columns if each is not clock]
    return kept, Apart(date.name, clock.name)


def _dates_only(column: Column) -> bool:
    """Say whether it holds dates, as some spreadsheets write them with a midnight behind each."""
    if column.written is None:
        return False
    known = column.text[column.text != ""]
    return column.written.dates_only or bool(known.str.contains(_AT_MIDNIGHT).all())


def map_time_of_day(apart: Apart | None, notes: Notes) -> None:
    """Map the column of times of day, where the dates of another are mapped."""
    mapped = [notes.columns.get(key) for key in ("time", "start")]
    if apart is not None and apart.date in mapped:
        notes.map(TIME_OF_DAY, apart.clock, f"it completes the dates in '{apart.date}'")
