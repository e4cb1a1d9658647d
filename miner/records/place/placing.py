"""Gives every row of a file its place in time, or says why it has none."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from miner.core.facts import YEARS
from miner.core.messages import Message, MinerError, Severity, message
from miner.records.columns import DURATION, TIME_OF_DAY, UTC_OFFSET, factor
from miner.records.place.times import (
    Lengths,
    Mask,
    Stamps,
    Times,
    hint,
    offsets,
    offsets_of,
    read_times,
    to_clock,
    with_offsets,
)
from miner.records.read.cells import to_lengths, to_numbers
from miner.records.read.text_file import map_it

if TYPE_CHECKING:
    from miner.records.findings import Findings
    from miner.records.read.sources import Source
    from miner.records.read.table_file import RawTable
    from miner.records.text_columns import Text


WITHOUT_END = ("activity", "stress")
"""Streams that keep a record without a usable end: left out, but it says that something was."""
WITHOUT_TIME_OF_DAY = ("tags", "meals")
"""Streams that keep a date alone, in the middle of its day: a tag of all day, a meal left out."""

_FEW, _LOOKED_AT = 3, 20
_DATE_FIRST, _AFTER_DATE = r"[\w./-]+[T ,]+\S", "[T ,]"


@dataclass(frozen=True, slots=True)
class PlacedRows:
    """The rows of one file that have a place in time.

    Attributes:
        table: those rows.
        start: instants of the start (or of the only time).
        start_clock: wall-clock times of the start.
        end: instants of the end (NaT: cannot be used), or None where the file has single times.
        end_clock: wall-clock times of the end, or None.
        unzoned: True where some time had neither offset nor zone.
        own_offset: True where some time had an offset of its own.
        date_only: True for the rows whose start is a date without a time of day.
    """

    table: RawTable
    start: Stamps
    start_clock: Stamps
    end: Stamps | None
    end_clock: Stamps | None
    unzoned: bool
    own_offset: bool
    date_only: Mask


def place_rows(
    table: RawTable, source: Source, zone: str | None, findings: Findings
) -> PlacedRows | None:
    """Read the times of a file; None, with a finding that stops, where no time can be read.

    Raises:
        MinerError: the time_format cannot be used.
    """
    first = "start" if "start" in source.columns else "time"
    beside = _offsets(table, source, findings)
    begin = _times(table, source, first, zone, beside)
    lost = _without_offset(table, source, beside, zone, findings)
    good = ~_told(table, source, first, begin, findings, ignore=lost) & ~lost
    if _unreadable(begin, lost) or _all_of_many(lost):
        return None
    end, end_clock, unzoned = None, None, ~begin.zoned
    if not (source.episodes and first == "time"):
        if "end" in source.columns:
            ignore = lost | _open_ended(table, source)
            finish = _times(table, source, "end", zone, beside)
            no_end = _told(table, source, "end", finish, findings, ignore=ignore)
            if _unreadable(finish, ignore):
                return None
            end, end_clock = _finished(begin, finish, no_end, zone, beside is not None)
            end = np.where(ignore, begin.instant, end)
            end_clock = np.where(ignore, begin.clock, end_clock)
            good &= ~no_end | (source.stream in WITHOUT_END)
            unzoned = unzoned | ~(finish.zoned | ignore)
        elif DURATION in {*source.columns, *source.constants} or source.ends_by_sleep:
            minutes, usable = _lengths(table, source, findings)
            good &= usable | (source.stream in WITHOUT_END)
            end, end_clock = _after(begin, minutes, zone)
            end = np.where(usable, end, np.datetime64("NaT"))
    if good.all():
        zoned = (bool(unzoned.any()), bool(begin.own_offset.any()))
        return PlacedRows(
            table, begin.instant, begin.clock, end, end_clock, *zoned, begin.date_only
        )
    return PlacedRows(
        table.keep(good),
        begin.instant[good],
        begin.clock[good],
        None if end is None else end[good],
        None if end_clock is None else end_clock[good],
        bool(unzoned[good].any()),
        bool(begin.own_offset[good].any()),
        begin.date_only[good],
    )


def _finished(
    begin: Times, finish: Times, no_end: Mask, zone: str | None, beside: bool
) -> tuple[Stamps, Stamps]:
    """Return ends and their wall clock; ``beside`` where the offset is that of the start."""
    clock = _clock_at(begin, finish.instant, finish.clock, zone) if beside else finish.clock
    return np.where(no_end, np.datetime64("NaT"), _ending_later(begin, finish)), clock


def _offsets(table: RawTable, source: Source, findings: Findings) -> Lengths | None:
    """Return the offsets of the wall clock that are next to times in UTC, or None without."""
    if UTC_OFFSET not in source.columns:
        return None
    column, unit = source.columns[UTC_OFFSET], source.units.get(UTC_OFFSET)
    text = table.text(column)
    if unit is None:
        found = offsets(text)[0]
    else:
        minutes = to_numbers(table, column, source)[0] * (factor(unit, "min") or 1.0)
        found = offsets_of(minutes)
    strange = np.isnat(found) & (text != "").to_numpy()
    told_as = "offset_unusable_in_unit" if unit else ""
    about = {"told_as": told_as, "values": {"unit": unit}}
    findings.cells(Severity.LEFT_OUT, "offset_unusable", table, strange, column, **about)
    return found


def _without_offset(
    table: RawTable, source: Source, beside: Lengths | None, zone: str | None, findings: Findings
) -> Mask:
    """Return the rows in UTC that have neither an offset of the wall clock nor a zone."""
    if beside is None or zone is not None:
        return np.zeros(len(table.rows), dtype=bool)
    lost = np.isnat(beside)
    severity = Severity.STOP if _all_of_many(lost) else Severity.LEFT_OUT
    values = {"column": source.columns[UTC_OFFSET]}
    findings.cells(severity, "offset_missing", table, lost, values=values)
    return lost


def _times(
    table: RawTable, source: Source, name: str, zone: str | None, beside: Lengths | None
) -> Times:
    text, unit = table.text(source.columns[name]), source.units.get(name)
    zone_of_text = zone if beside is None else "UTC"
    try:
        times = read_times(
            text,
            source.time_format,
            zone_of_text,
            unit=unit,
            dates_at_noon=source.stream in WITHOUT_TIME_OF_DAY,
        )
    except ValueError as error:
        form = repr(source.time_format)
        raise MinerError(
            "records.time_format_unusable", file=table.file, form=form, error=str(error)
        ) from error
    if source.stream == "meals" and unit is None and times.bad.any():
        times = _with_dates(times, text, source.time_format, zone_of_text)
    return times if beside is None else with_offsets(times, beside, zone)


def _with_dates(times: Times, text: Text, form: str | None, zone: str | None) -> Times:
    """Return times with the date alone where only the time of day cannot be read."""
    date = form.split(" ")[0] if form else None
    if date and re.search("%[HIMSpcTXz]", date):
        return times
    bad = times.bad & text.str.match(_DATE_FIRST).to_numpy(dtype=bool)
    first = text.where(bad, "").str.split(_AFTER_DATE, n=1, regex=True).str[0]
    found = read_times(first.fillna(""), date, zone, dates_at_noon=True)
    return times.or_else(found, bad & found.date_only)


def _unreadable(times: Times, ignore: Mask) -> bool:
    return _all_of_many(times.bad[~ignore])


def _all_of_many(mask: Mask) -> bool:
    return len(mask) >= _FEW and bool(mask.all())


def _hint(table: RawTable, column: str, first: str) -> Message:
    """Say what the column holds, or which other column holds times, where that is known."""
    map_this = map_it(table.file)
    others = (str(name) for name in table.cells.columns if name != column)
    for other in others:
        some = table.text(other).head(_LOOKED_AT)
        if (some != "").any() and not read_times(some, None, None).bad.any():
            return message("records.times_elsewhere", column=other, map_it=map_this)
    return hint(first) or message("records.give_time_format", map_it=map_this)


def _open_ended(table: RawTable, source: Source) -> Mask:
    if source.stream != "tags":
        return np.zeros(len(table.rows), dtype=bool)
    return (table.text(source.columns["end"]) == "").to_numpy()


def _told(
    table: RawTable, source: Source, name: str, times: Times, findings: Findings, ignore: Mask
) -> Mask:
    column, format_ = source.columns[name], source.time_format
    by_format = message("records.times_by_format", form=format_)
    written = by_format if format_ else message("records.times_in_iso")
    values = {"column": column, "written": written, "years": YEARS[0], "until": YEARS[1]}
    bad = times.bad & ~ignore
    text = table.text(column)[bad] if bad.any() else None
    if text is not None and _unreadable(times, ignore):
        findings.add(
            Severity.STOP,
            "no_time_readable",
            file=table.file,
            row=int(table.rows[0]),
            count=len(bad),
            values=values
            | {"first": str(text.iloc[0]), "next": _hint(table, column, str(text.iloc[0]))},
        )
    elif text is not None:
        about = {"values": values, "instead": "records.correct_them" if format_ else ""}
        findings.cells(Severity.LEFT_OUT, "time_unreadable", table, bad, column, **about)
    dropped = bad | times.skipped
    date_only = times.date_only & ~bad
    if source.stream == "tags":
        findings.cells(Severity.NOTE, "all_day", table, date_only, column=column)
    else:
        shown = table.text(column)[date_only] if date_only.any() else ()
        about = {"column": column}
        findings.cells(Severity.LEFT_OUT, "no_time_of_day", table, date_only, shown=shown, **about)
    if source.stream not in WITHOUT_TIME_OF_DAY:
        dropped = dropped | date_only
    named = {"column": column}
    findings.cells(Severity.LEFT_OUT, "time_skipped", table, times.skipped, column)
    findings.cells(Severity.NOTE, "time_repeated", table, times.repeated, values=named)
    findings.cells(Severity.QUESTION, "time_in_utc_only", table, times.utc_only, values=named)
    return dropped


def _ending_later(begin: Times, finish: Times) -> Stamps:
    early = finish.repeated & (finish.instant < begin.instant)
    return np.where(early, finish.instant + np.timedelta64(1, "h"), finish.instant)


def _lengths(
    table: RawTable, source: Source, findings: Findings
) -> tuple[NDArray[np.float64], Mask]:
    """Return how many minutes each row lasts, and where that is known."""
    if DURATION in source.constants:
        minutes = float(source.constants[DURATION]) * (factor(source.units[DURATION], "min") or 1.0)
        size = len(table.rows)
        return np.full(size, minutes), np.ones(size, dtype=bool)
    names = (DURATION,) if DURATION in source.columns else ("asleep_min", "awake_min")
    total, usable = np.zeros(len(table.rows)), np.ones(len(table.rows), dtype=bool)
    for name in names:
        column, unit = source.columns[name], source.units.get(name, "min")
        values, _ = to_lengths(table, column, source, unit)
        good = ~np.isnan(values) & (values >= 0)
        about = {"values": {"unit": unit}}
        findings.cells(Severity.LEFT_OUT, "duration_unusable", table, ~good, column, **about)
        total += values * (factor(unit, "min") or 1.0)
        usable &= good
    return total, usable


def _after(begin: Times, minutes: NDArray[np.float64], zone: str | None) -> tuple[Stamps, Stamps]:
    safe = np.where(np.isnan(minutes) | (np.abs(minutes) > 1e7), 0.0, minutes)
    length = np.round(safe * 60).astype("timedelta64[s]").astype("timedelta64[ns]")
    end = begin.instant + length
    return end, _clock_at(begin, end, begin.clock + length, zone)


def _clock_at(begin: Times, end: Stamps, otherwise: Stamps, zone: str | None) -> Stamps:
    """Return the wall clock of ends by the zone; ``otherwise`` where the start was not in it."""
    if zone is None:
        return otherwise
    there = ~begin.own_offset | (to_clock(begin.instant, zone) == begin.clock)
    return np.where(there, to_clock(end, zone), otherwise)


MIDNIGHT = r"[T ]0?0:00(?::00(?:\.0+)?)?$"


def with_time_of_day(table: RawTable, source: Source) -> RawTable:
    """Return a table whose column of dates holds the times of day too, where they are apart.

    Args:
        table: the rows of the file.
        source: its mapping; ``time_of_day`` names the second column.
    """
    if TIME_OF_DAY not in source.columns:
        return table
    date = source.columns["start" if "start" in source.columns else "time"]
    text = join(table.text(date), table.text(source.columns[TIME_OF_DAY]))
    return replace(table, cells=table.cells.assign(**{date: text.to_numpy()}))


def join(date: Text, clock: Text) -> Text:
    """Put dates and times of day together, a blank between; where either is missing, the other."""
    day = date.str.replace(MIDNIGHT, "", regex=True)
    whole = (day + " " + clock).str.strip()
    return whole.where((date != "") & (clock != ""), date)
