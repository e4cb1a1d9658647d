"""Which columns hold the times of a record, in which unit its length, and how they are written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from miner.core.results.mapping import Option
from miner.records.proposing.columns import Column
from miner.records.proposing.dates import Form, Stamps, stamps_of
from miner.records.proposing.exports import Exports, StreamRule
from miner.records.proposing.notes import Notes
from miner.records.proposing.others import Others
from miner.records.sources import DURATION

TO_MIN = {"s": 1 / 60, "min": 1.0, "h": 60.0}
MINUTE = np.timedelta64(1, "m")
_FARTHEST_MIN = 14 * 60


@dataclass(frozen=True, slots=True)
class Times:
    """The columns of a file that may hold the time of a record.

    Attributes:
        single: columns of times that are neither a start nor an end by their names.
        start, end: columns of starts and of ends.
        duration: columns of lengths.
        dates: columns of dates without a time of day.
    """

    single: tuple[Column, ...]
    start: tuple[Column, ...]
    end: tuple[Column, ...]
    duration: tuple[Column, ...]
    dates: tuple[Column, ...]

    @property
    def any(self) -> tuple[Column, ...]:
        """Every column of times."""
        return (*self.single, *self.start, *self.end)

    @property
    def spans(self) -> bool:
        """Whether records have a start, and an end or a length."""
        return len(self.any) > 1 or bool(self.any and self.duration)

    @property
    def named_spans(self) -> bool:
        """Whether their names say so."""
        return bool(self.start and self.end) or bool(self.any and self.duration)


def times_of(columns: Sequence[Column], book: Exports) -> Times:
    """Sort the columns of a file into those that may hold its times."""

    def says(column: Column, what: str) -> bool:
        return book.times[what].stand_in(column.words)

    timed = [each for each in columns if each.timed]
    timed = [each for each in timed if not says(each, "other")] or timed
    if any(says(each, "local") for each in timed):
        timed = [each for each in timed if not says(each, "utc")] or timed
    dated = [each for each in timed if each.written is not None and not each.written.unit]
    # a count since 1970 is left out where the same moment stands beside it as a date
    timed = [x for x in timed if x in dated or all(apart_min(x, each) is None for each in dated)]
    start = [each for each in timed if says(each, "start")]
    end = [each for each in timed if says(each, "end") and each not in start]
    single = [each for each in timed if each not in (*start, *end)]
    lengths = [each for each in columns if each.numeric and says(each, "duration")]
    lengths = [each for each in lengths if not says(each, "part")]
    dates = [each for each in columns if each.written is not None and each.written.dates_only]
    return Times(*map(tuple, (single, start, end, lengths, dates)))


def apart_min(count: Column, dated: Column) -> NDArray[np.float64] | None:
    """Return minutes from a count to a date beside it, where both tell one moment; else None."""
    gap = (first_stamps(dated) - first_stamps(count)) / MINUTE
    known = gap[~np.isnan(gap)]
    near = known.size > 0 and (np.abs(known) <= _FARTHEST_MIN).all()
    quarters = np.abs(known - np.round(known / 15) * 15)
    return gap if near and (quarters < 1).all() else None


def first_stamps(column: Column, form: Form | None = None) -> Stamps:
    """Return the times of a column by the form given, or the first that fits; NaT without."""
    written = column.written
    if written is None:
        return np.full(len(column.text), np.datetime64("NaT", "ns"))
    return stamps_of(column.text, (form or written.forms[0]).text, written.unit)


def map_times(times: Times, rule: StreamRule, notes: Notes, book: Exports) -> tuple[Column, ...]:
    """Map the time of a record, or its start with its end or length; return those columns.

    Args:
        times: the columns to choose from.
        rule: of the stream.
        notes: gets the choices.
        book: how files tend to look.
    """
    if times.spans if rule.times == "span" else times.named_spans and rule.times == "either":
        return _map_span(times, rule, notes, book)
    among = times.single or times.start or times.end
    among = among or (times.dates if rule.times == "either" else ())
    named = tuple(each for each in among if rule.speaks.stand_in(each.words))
    among = named if len(named) == 1 else among
    return _chosen("start" if rule.times == "span" else "time", among, "time_column", notes, times)


def _chosen(
    key: str, among: Sequence[Column], code: str, notes: Notes, times: Times
) -> tuple[Column, ...]:
    """Return the one column that is meant, or ask; a person may name any that holds times."""
    given = notes.answers.get(f"columns.{key}")
    every = among if key == DURATION else (*times.any, *times.dates)
    found = tuple(
        each for each in (among if given is None else every) if given in (None, each.name)
    )
    if len(found) == 1:
        notes.choose(f"columns.{key}", found[0].name, code)
        return found
    ask_which(key, among, "several" if among else "none", notes, needed=True)
    return ()


def ask_which(key: str, among: Sequence[Column], code: str, notes: Notes, *, needed: bool) -> None:
    """Ask which of the file's columns is one of the stream's."""
    options = []
    for each in among:
        facts = {"filled": each.filled, "shown": next(iter(each.counts), "")}
        sets = {} if key == "glucose" else {f"columns.{key}": each.name}
        options.append(Option(each.name, sets, "cells", facts))
    notes.ask(f"columns.{key}", code, options, needed=needed)


def _map_span(times: Times, rule: StreamRule, notes: Notes, book: Exports) -> tuple[Column, ...]:
    start, end = times.start, times.end
    if not start and not end and len(times.single) == 2:
        start, end = times.single[:1], times.single[1:]
    start = start or times.single
    end = end or (() if times.duration else tuple(x for x in times.single if x not in start))
    if len(start) == len(end) == 1 and not {"columns.start", "columns.end"} & set(notes.answers):
        lengths = span_min(start[0], end[0])
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
        map_unit("duration", length, rule.middle, notes, book, needed=True)
    return first


def span_min(start: Column, end: Column) -> NDArray[np.float64]:
    """Return the minutes from start to end of each row; NaN where one is missing."""
    forms = {form.text: form for form in (end.written.forms if end.written else ())}
    shared = [each for each in (start.written.forms if start.written else ()) if each.text in forms]
    form = shared[0] if shared else None
    minutes = (first_stamps(end, form) - first_stamps(start, form)) / MINUTE
    return np.asarray(minutes, dtype=np.float64)


def map_unit(
    key: str,
    column: Column,
    middle: tuple[float, float] | None,
    notes: Notes,
    book: Exports,
    *,
    needed: bool = False,
) -> bool:
    """Choose the unit of a column of minutes by its name and its values; say whether it is known.

    Args:
        key: the column of the stream.
        column: the file's own.
        middle: where the middle of its values lies, in minutes.
        notes: gets the unit.
        book: the words of units.
        needed: without a unit the entry cannot be used.
    """
    said, (low, high) = said_unit(column, book), middle or (0, np.inf)
    fits = [unit for unit, scale in TO_MIN.items() if low <= column.middle * scale <= high]
    facts: dict[str, Any] = {"column": column.name, "middle": column.middle, "said": said or ""}
    if said in fits or (said is None and len(fits) == 1):
        unit, code = said or fits[0], "unit_by_name" if said else "unit_by_values"
        usual = unit == "min" and key != "duration"
        notes.choose(f"units.{key}", None if usual else unit, code, **facts)
        return True
    options = [Option(unit, {f"units.{key}": unit}) for unit in TO_MIN]
    code = "unit_contradicts" if said else "unit_unknown"
    return notes.ask(f"units.{key}", code, options, needed=needed, **facts) is not None


def said_unit(column: Column, book: Exports) -> str | None:
    """Return the one unit of time that the cells or the name say, or None."""
    if column.unit:
        return column.unit
    named = [unit for unit in TO_MIN if book.units[unit].stand_in(column.words)]
    return named[0] if len(named) == 1 else None


def map_format(mapped: Sequence[Column], notes: Notes, others: Others) -> None:
    """Choose the form that the mapped times share, by themselves or by the client's other files."""
    for key in ("time", "start", "end"):
        for each in mapped:
            if each.written and each.written.unit and notes.get(f"columns.{key}") == each.name:
                code, facts = each.written.code, each.written.facts
                notes.choose(f"units.{key}", each.written.unit, code, **facts)
    written = [each.written for each in mapped if each.written and not each.written.unit]
    if not written or "time_format" in notes.answers:
        return
    forms = {form.text: form for each in written for form in each.forms}
    shared = [
        form
        for form in forms.values()
        if all(form.text in [one.text for one in each.forms] for each in written)
    ]
    decides = min(written, key=lambda each: len(each.forms))
    if len(shared) == 1:
        notes.choose("time_format", shared[0].text, decides.code, **decides.facts)
        return
    near = {form: _near_readings(mapped[0], form, others) for form in shared}
    if shared and "dates" not in notes.answers:
        theirs = {form: others.write_dates_as(str(form.text)) for form in shared}
        decided = [form for form, files in theirs.items() if files]
        if len(decided) == 1 and near[decided[0]] == max(near.values()):
            facts = {"order": decided[0].order, "files": theirs[decided[0]]}
            notes.choose("time_format", decided[0].text, "by_other_files", **facts)
            return
    options = []
    for form in shared or forms.values():
        days = _days(mapped[0], form)
        code = "dates_fail" if days["fails"] else "dates"
        if code == "dates" and max(near.values(), default=0):
            code, days = "dates_near", {**days, "near": near[form]}
        options.append(Option(form.order.replace("_", " "), {"time_format": form.text}, code, days))
    notes.ask("dates", decides.code if shared else "unlike", options, needed=True, **decides.facts)


def _near_readings(column: Column, form: Form, others: Others) -> int:
    """Return how many times lie within the days of the glucose; 0 where these are not known."""
    if others.readings is None:
        return 0
    days, (first, last) = first_stamps(column, form).astype("datetime64[D]"), others.readings
    return int(((days >= first) & (days <= last)).sum())


def _days(column: Column, form: Form) -> dict[str, Any]:
    stamps = first_stamps(column, form)
    stamps = stamps[~np.isnat(stamps)]
    days = np.unique(stamps.astype("datetime64[D]"))
    widest = int(np.diff(days).max() / np.timedelta64(1, "D")) if len(days) > 1 else 0
    first, last = (str(days[0]), str(days[-1])) if len(days) else ("", "")
    found = {"fits": len(stamps), "fails": column.filled - len(stamps)}
    return {**found, "first": first, "last": last, "widest": widest}
