"""Gives every row of a file its place in time, or tells why it has none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from miner.errors import MinerError
from miner.records.cells import to_numbers, where_from
from miner.records.columns import factor
from miner.records.findings import Findings
from miner.records.sources import Source
from miner.records.table_file import Table
from miner.records.text_file import map_it
from miner.records.time_hints import hint
from miner.records.times import YEARS, Mask, Stamps, Times, known_times, read_times, to_clock
from miner.results import Severity

WITHOUT_END = ("activity", "stress")
"""Streams that keep a record without a usable end: left out, but it says that something was."""

_FEW, _LOOKED_AT = 3, 20
_ISO = "ISO 8601, such as 2026-03-02T08:30 or 2026-03-02T08:30+01:00"


@dataclass(frozen=True, slots=True)
class Placed:
    """The rows of one file that have a place in time.

    Attributes:
        table: those rows.
        start: instants of the start (or of the only time).
        start_clock: wall-clock times of the start.
        end: instants of the end (NaT: cannot be used), or None where the file has single times.
        end_clock: wall-clock times of the end, or None.
        unzoned: True where some time had neither offset nor zone.
        own_offset: True where some time had an offset of its own.
    """

    table: Table
    start: Stamps
    start_clock: Stamps
    end: Stamps | None
    end_clock: Stamps | None
    unzoned: bool
    own_offset: bool


def place_rows(table: Table, source: Source, zone: str | None, findings: Findings) -> Placed | None:
    """Read the times of a file; None, with a finding that stops, where no time can be read.

    Raises:
        MinerError: the time_format cannot be used.
    """
    first = "start" if "start" in source.columns else "time"
    begin = _times(table, source, first, zone)
    good = ~_told(table, source, first, begin, findings)
    begin_instant, end, end_clock, unzoned = begin.instant, None, None, ~begin.zoned
    if "end" in source.columns and not source.episodes:
        finish = _times(table, source, "end", zone)
        open_end = _open_ended(table, source)
        lost = _told(table, source, "end", finish, findings, ignore=open_end)
        good &= ~lost | (source.stream in WITHOUT_END)
        finish_instant = np.where(lost, np.datetime64("NaT"), _ending_later(begin, finish))
        end = np.where(open_end, begin_instant, finish_instant)
        end_clock = np.where(open_end, begin.clock, finish.clock)
        unzoned = unzoned | ~(finish.zoned | open_end)
    elif "duration" in source.columns and not source.episodes:
        minutes, usable = _durations(table, source, findings)
        good &= usable | (source.stream in WITHOUT_END)
        end, end_clock = _after(begin, minutes, zone)
        end = np.where(usable, end, np.datetime64("NaT"))
    if _unreadable(begin):
        return None
    return Placed(
        table if good.all() else table.keep(good),
        begin_instant[good],
        begin.clock[good],
        None if end is None else end[good],
        None if end_clock is None else end_clock[good],
        bool(unzoned[good].any()),
        bool(begin.own_offset[good].any()),
    )


def _times(table: Table, source: Source, name: str, zone: str | None) -> Times:
    if table.fixed is not None and source.columns[name] == table.fixed_name:
        return known_times(table.fixed.times, zone)
    try:
        return read_times(
            table.text(source.columns[name]),
            source.time_format,
            zone,
            dates_at_noon=source.stream == "tags",
        )
    except ValueError as error:
        raise MinerError(
            f"time_format {source.time_format!r} cannot be used ({error})",
            'directives such as "%d/%m/%Y %H:%M"',
            "Correct time_format in sources.toml.",
            file=table.file,
        ) from error


def _unreadable(times: Times) -> bool:
    return len(times.bad) >= _FEW and bool(times.bad.all())


def _hint(table: Table, column: str, first: str) -> str:
    """Say what the column holds, or which other column holds times, where that can be told."""
    others = (str(name) for name in table.cells.columns if name != column)
    for other in others:
        some = table.text(other).head(_LOOKED_AT)
        if (some != "").any() and not read_times(some, None, None).bad.any():
            return (
                f"Times stand in '{other}': correct the names of the columns, or "
                f"{map_it(table.file)}."
            )
    return hint(first)


def _open_ended(table: Table, source: Source) -> Mask:
    if source.stream != "tags":
        return np.zeros(len(table.rows), dtype=bool)
    return (table.text(source.columns["end"]) == "").to_numpy()


def _told(
    table: Table,
    source: Source,
    name: str,
    times: Times,
    findings: Findings,
    ignore: Mask | None = None,
) -> Mask:
    column, format_ = source.columns[name], source.time_format
    expected = f'times written as "{format_}"' if format_ else _ISO
    expected = f"{expected}, of the years {YEARS[0]} to {YEARS[1]}"
    do = "Correct them." if format_ else "Correct them, or give time_format in sources.toml."
    bad = times.bad if ignore is None else times.bad & ~ignore
    text = table.text(column)[bad] if bad.any() else None
    if text is not None and _unreadable(times):
        findings.add(
            Severity.STOP,
            f"no time in '{column}' could be read (first: '{text.iloc[0]}')",
            expected,
            _hint(table, column, str(text.iloc[0]))
            or f"Give the time_format of this file in sources.toml, or {map_it(table.file)}.",
            file=table.file,
            row=int(table.rows[0]),
            count=len(bad),
        )
    elif text is not None:
        findings.rows(
            Severity.LEFT_OUT,
            f"{{n}} time(s) in '{column}' that cannot be read",
            expected,
            do,
            at=where_from(table, bad),
            shown=text,
        )
    dropped = bad | times.skipped
    date_only = times.date_only & ~bad
    if source.stream == "tags":
        _at_noon(table, column, date_only, findings)
    else:
        dropped = dropped | _no_time_of_day(table, column, date_only, findings)
    _tell_clock_changes(table, column, times, findings)
    return dropped


def _no_time_of_day(table: Table, column: str, date_only: Mask, findings: Findings) -> Mask:
    findings.rows(
        Severity.LEFT_OUT,
        f"{{n}} date(s) without a time of day in '{column}'",
        "a date and a time of day",
        "Add the time of day.",
        at=where_from(table, date_only),
        shown=table.text(column)[date_only] if date_only.any() else (),
    )
    return date_only


def _at_noon(table: Table, column: str, date_only: Mask, findings: Findings) -> None:
    findings.rows(
        Severity.NOTE,
        f"{{n}} date(s) without a time of day in '{column}', taken as 12:00 of that day",
        "a date and a time of day",
        "Add the time of day where it matters.",
        at=where_from(table, date_only),
    )


def _tell_clock_changes(table: Table, column: str, times: Times, findings: Findings) -> None:
    findings.rows(
        Severity.LEFT_OUT,
        f"{{n}} time(s) in '{column}' that no clock showed: it was set forward over them",
        "times of the zone's own clock",
        "Check the time zone of this file.",
        at=where_from(table, times.skipped),
        shown=table.text(column)[times.skipped] if times.skipped.any() else (),
    )
    findings.rows(
        Severity.NOTE,
        f"{{n}} time(s) in '{column}' in the hour that came twice when the clock was set back",
        "the order of the file to tell the first pass from the second",
        "Nothing to do, if the rows of that night are in the order in which they were recorded.",
        at=where_from(table, times.repeated),
    )
    findings.rows(
        Severity.QUESTION,
        f"{{n}} time(s) in '{column}' given in UTC, without the zone of the wall clock",
        "time_zone in client.toml",
        "Give the client's time_zone: times of day mean little in UTC.",
        at=where_from(table, times.utc_only),
    )


def _ending_later(begin: Times, finish: Times) -> Stamps:
    early = finish.repeated & (finish.instant < begin.instant)
    return np.where(early, finish.instant + np.timedelta64(1, "h"), finish.instant)


def _durations(
    table: Table, source: Source, findings: Findings
) -> tuple[NDArray[np.float64], Mask]:
    column = source.columns["duration"]
    values, _ = to_numbers(table, column, source.decimal)
    minutes = values * (factor(source.units["duration"], "min") or 1.0)
    usable = ~np.isnan(minutes) & (minutes >= 0)
    findings.rows(
        Severity.LEFT_OUT,
        f"{{n}} duration(s) in '{column}' that cannot be used",
        f"a number of 0 or more ({source.units['duration']})",
        "Correct them.",
        at=where_from(table, ~usable),
        shown=table.text(column)[~usable] if not usable.all() else (),
    )
    return minutes, usable


def _after(begin: Times, minutes: NDArray[np.float64], zone: str | None) -> tuple[Stamps, Stamps]:
    safe = np.where(np.isnan(minutes) | (np.abs(minutes) > 1e7), 0.0, minutes)
    length = np.round(safe * 60).astype("timedelta64[s]").astype("timedelta64[ns]")
    end, clock = begin.instant + length, begin.clock + length
    if zone is not None and not begin.own_offset.all():
        clock = np.where(begin.own_offset, clock, to_clock(end, zone))
    return end, clock
