"""Which columns hold the times of a record, in which unit its length, and how they are written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from miner.core.results.mapping import Option
from miner.records.columns import TO_MINUTES
from miner.records.place.gaps import modal_gap
from miner.records.place.times import offsets

if TYPE_CHECKING:
    from miner.records.propose.columns import Column, Floats
    from miner.records.propose.exports import Exports, StreamRule
    from miner.records.propose.notes import Notes
    from miner.records.propose.propose import Job

MINUTE = np.timedelta64(1, "m")
_STEADY = 0.5


@dataclass(frozen=True, slots=True)
class TimeColumns:
    """The columns of a file that may hold the time of a record.

    Attributes:
        single: columns of times that are neither a start nor an end by their names.
        start, end: columns of starts and of ends.
        duration: columns of lengths.
        dates: columns of dates without a time of day.
        book: how files tend to look.
    """

    single: Sequence[Column]
    start: Sequence[Column]
    end: Sequence[Column]
    duration: Sequence[Column]
    dates: Sequence[Column]
    book: Exports

    @property
    def any(self) -> tuple[Column, ...]:
        """Every column of times."""
        return (*self.single, *self.start, *self.end)

    @property
    def cadence_min(self) -> float | None:
        """How far apart the times are, in minutes; None where the file is not sampled."""
        if not self.any:
            return None
        stamps = np.unique(self.any[0].stamps())
        gaps = np.diff(stamps[~np.isnat(stamps)]) / MINUTE
        middle = float(np.median(gaps)) if gaps.size else np.inf
        steady = gaps.size > 0 and (np.abs(gaps - middle) <= middle / 2).mean() >= _STEADY
        often = middle <= self.book.limits.sampled_every_min
        gap = modal_gap(stamps) if often and steady else None
        return None if gap is None else float(gap / MINUTE)

    @property
    def spans(self) -> bool:
        """Whether records have a start, and an end or a length."""
        return len(self.any) > 1 or bool(self.any and self.duration)

    @property
    def named_spans(self) -> bool:
        """Whether their names say so."""
        return bool(self.start and self.end) or bool(self.any and self.duration)


def times_of(columns: Sequence[Column], book: Exports) -> TimeColumns:
    """Sort the columns of a file into those that may hold its times."""

    def says(column: Column, what: str) -> bool:
        return book.times[what].stand_in(column.words)

    timed = [each for each in columns if each.timed]
    timed = [each for each in timed if not says(each, "other")] or timed
    if any(says(each, "local") for each in timed):
        timed = [each for each in timed if not says(each, "utc")] or timed
    dated = [each for each in timed if each.written is not None and not each.written.unit]
    # a count since 1970 is left out where the same moment is next to it as a date
    timed = [x for x in timed if x in dated or all(x.minutes_apart(each) is None for each in dated)]
    start = [each for each in timed if says(each, "start")]
    end = [each for each in timed if says(each, "end") and each not in start]
    single = [each for each in timed if each not in (*start, *end)]
    lengths = [each for each in columns if each.numeric and says(each, "duration")]
    lengths = [each for each in lengths if not says(each, "part")]
    dates = [each for each in columns if each.written is not None and each.written.dates_only]
    return TimeColumns(single, start, end, lengths, dates, book)


def map_times(times: TimeColumns, rule: StreamRule, notes: Notes) -> tuple[Column, ...]:
    """Map the time of a record, or its start with its end or length; return those columns.

    Args:
        times: the columns to choose from.
        rule: of the stream.
        notes: gets the choices.
    """
    if times.spans if rule.times == "span" else times.named_spans and rule.times == "either":
        return _map_span(times, rule, notes)
    among = times.single or times.start or times.end
    among = among or (times.dates if rule.times == "either" else ())
    named = tuple(each for each in among if rule.speaks.stand_in(each.words))
    among = named if len(named) == 1 else among
    return _chosen("start" if rule.times == "span" else "time", among, "time_column", notes, times)


def _chosen(
    key: str, among: Sequence[Column], code: str, notes: Notes, times: TimeColumns
) -> tuple[Column, ...]:
    """Return the one column that is meant, or ask; a person may name any that holds times."""
    given = notes.answers.get(f"columns.{key}")
    every = among if key == "duration" else (*times.any, *times.dates)
    found = tuple(
        each for each in (among if given is None else every) if given in (None, each.name)
    )
    if len(found) == 1:
        notes.choose(f"columns.{key}", found[0].name, code)
        return found
    notes.ask_which(key, among, "several" if among else "none", needed=True)
    return ()


def _map_span(times: TimeColumns, rule: StreamRule, notes: Notes) -> tuple[Column, ...]:
    start, end = times.start, times.end
    if not start and not end and len(times.single) == 2:
        start, end = times.single[:1], times.single[1:]
    start = start or times.single
    end = end or (() if times.duration else tuple(x for x in times.single if x not in start))
    if len(start) == len(end) == 1 and not {"columns.start", "columns.end"} & set(notes.answers):
        lengths = start[0].minutes_to(end[0])
        forwards, backwards = int((lengths >= 0).sum()), int((lengths < 0).sum())
        code = "start_by_name" if times.start and times.end else "start_by_values"
        if backwards > forwards:
            start, end, code = end, start, "order_by_values"
        for key, column in (("start", start[0]), ("end", end[0])):
            notes.choose(f"columns.{key}", column.name, code, rows=max(forwards, backwards))
        return (start[0], end[0])
    first = _chosen("start", start, "start_by_name", notes, times)
    if end:
        return (*first, *_chosen("end", end, "start_by_name", notes, times))
    for length in _chosen("duration", times.duration, "duration_by_name", notes, times):
        notes.choose_unit("duration", length, rule.middle, needed=True)
    return first


def map_format(mapped: Sequence[Column], notes: Notes, job: Job) -> None:
    """Choose the form that the mapped times share, by themselves or by the client's other files."""
    for key in ("time", "start", "end"):
        for each in mapped:
            if each.written and each.written.unit and notes.get(f"columns.{key}") == each.name:
                code, facts = each.written.code, each.written.facts
                notes.choose(f"units.{key}", each.written.unit, code, **facts)
    written = [each.written for each in mapped if each.written and not each.written.unit]
    if not written or "time_format" in notes.answers:
        return
    orders = {form: order for each in written for form, order in each.forms.items()}
    shared = [form for form in orders if all(form in each.forms for each in written)]
    decides = min(written, key=lambda each: len(each.forms))
    if len(shared) == 1:
        notes.choose("time_format", shared[0], decides.code, **decides.facts)
        return
    near = {form: job.near_readings(mapped[0].stamps(form)) for form in shared}
    if shared and "dates" not in notes.answers:
        theirs = {form: files for form in shared if (files := job.write_dates_as(str(form)))}
        if len(theirs) == 1:
            ((form, files),) = theirs.items()
            if near[form] == max(near.values()):
                facts = {"order": orders[form], "files": files}
                notes.choose("time_format", form, "by_other_files", **facts)
                return
    options = []
    for form in shared or orders:
        days = _days(mapped[0], form)
        code = "dates_fail" if days["fails"] else "dates"
        if code == "dates" and max(near.values(), default=0):
            code, days = "dates_near", {**days, "near": near[form]}
        options.append(Option(orders[form].replace("_", " "), {"time_format": form}, code, days))
    notes.ask("dates", decides.code if shared else "unlike", options, needed=True, **decides.facts)


def _days(column: Column, form: str | None) -> dict[str, Any]:
    stamps = column.stamps(form)
    stamps = stamps[~np.isnat(stamps)]
    days = np.unique(stamps.astype("datetime64[D]"))
    widest = int(np.diff(days).max() / np.timedelta64(1, "D")) if len(days) > 1 else 0
    first, last = (str(days[0]), str(days[-1])) if len(days) else ("", "")
    found = {"fits": len(stamps), "fails": column.filled - len(stamps)}
    return {**found, "first": first, "last": last, "widest": widest}


def map_clock(
    columns: Sequence[Column], first: Column, nights: Floats | None, notes: Notes, job: Job
) -> None:
    """Say on which clock times are, where an offset is in them or next to them.

    Args:
        columns: of the file.
        first: the one with the start of a record, or its only time.
        nights: the minutes of each record where they are nights, or None.
        notes: gets the choice.
        job: knows the client's other files.
    """
    if first.written is None or first.written.offset:
        notes.choose("time_zone", None, "own_offset")
        return
    beside = [each for each in columns if each.offset_unit is not None]
    if len(beside) != 1 or "columns.utc_offset" in notes.answers:
        notes.choose("time_zone", None, "counted_in_utc" if first.written.unit else "client_clock")
        return
    offset, unit = beside[0], beside[0].offset_unit or ""
    text = offsets(offset.text)[0] / MINUTE
    ahead = offset.values * TO_MINUTES[unit] if unit else np.asarray(text, dtype=np.float64)
    utc: dict[str, Any] = {"columns.utc_offset": offset.name}
    utc |= {"units.utc_offset": unit} if unit else {}
    known = ahead[~np.isnan(ahead)]
    if not known.any() and not first.written.unit:
        notes.choose("time_zone", None, "offset_is_zero", column=offset.name)
        return
    clock, code, facts = _decided(columns, first, ahead, notes.book)
    if clock is None and nights is not None:
        limits = notes.book.limits
        clock, facts = job.clock_of_nights(first.stamps(), nights, ahead, limits)
        code = f"nights_{clock}"
    if clock is None or "clock" in notes.answers:
        hours = {"hours": [float(each) / 60 for each in np.unique(known)[:4]]}
        options = [Option("utc", utc, "clock_utc", hours), Option("local", {}, "clock_local")]
        notes.ask("clock", "offset_beside", options, needed=True, column=offset.name)
        return
    for key, value in utc.items() if clock == "utc" else (("time_zone", None),):
        notes.choose(key, value, code, column=offset.name, **facts)


def _decided(
    columns: Sequence[Column], first: Column, ahead: Floats, book: Exports
) -> tuple[str | None, str, dict[str, Any]]:
    """Return utc, local or None for times with an offset next to them, and what decides."""
    if first.written is not None and first.written.unit:
        return "utc", "counted_in_utc", {}
    for word in ("utc", "local"):
        if book.times[word].stand_in(first.words):
            return word, "clock_by_name", {"name": first.name}
    for count in columns:
        gap = count.minutes_apart(first) if count.written and count.written.unit else None
        for clock, wanted in (("local", ahead), ("utc", np.zeros(len(ahead)))):
            if gap is not None and np.nanmax(np.abs(gap - wanted), initial=0) < 1:
                return clock, f"count_{clock}", {"count_of": count.name}
    return None, "", {}
