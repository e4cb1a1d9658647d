"""Which columns hold the times of a record, in which unit its length, and how they are written."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import MinerError
from miner.core.results.mapping import Option, Proposal
from miner.records.columns import STILL
from miner.records.findings import Findings
from miner.records.propose.columns import Column, Form, Stamps, stamps_of
from miner.records.read.discover import TABLES, FoundFile
from miner.records.read.iso8601 import offsets
from miner.records.read.sources import DURATION, Source
from miner.records.read.text_file import read_bytes
from miner.records.stream_file import read_file

if TYPE_CHECKING:
    from miner.records.client import Settings
    from miner.records.propose.exports import Exports, Limits, StreamRule
    from miner.records.propose.notes import Notes

_AWAKE = ("activity", "meals")


@dataclass
class Others:
    """The other files of a client, looked at only where something asks for them.

    Attributes:
        path: the file that is mapped.
        folder: the client's.
        propose: proposes the entries of another file, by that file alone.
        settings: of the client.
    """

    path: Path
    folder: Path
    propose: Callable[[Path], Sequence[Proposal]] | None
    settings: Settings

    @cached_property
    def proposals(self) -> list[tuple[Path, Proposal]]:
        """Return what is proposed for each of the other tables, where that is whole."""
        if self.propose is None:
            return []
        found: list[tuple[Path, Proposal]] = []
        for path in sorted(self.folder.iterdir()):
            if path.name != self.path.name and path.suffix.lower() in TABLES and path.is_file():
                try:
                    found += [(path, each) for each in self.propose(path) if each.complete]
                except MinerError:
                    continue
        return found

    def write_dates_as(self, form: str) -> list[str]:
        """Return the files that decide by themselves to write their dates in this order."""
        date = form.split("%Y")[0].split("%y")[0]
        return [
            path.name
            for path, each in self.proposals
            if str(each.entry.get("time_format") or "").startswith(date)
        ]

    @cached_property
    def readings(self) -> tuple[np.datetime64, np.datetime64] | None:
        """Return the first and the last day of the glucose, by the other files; None without."""
        times = [
            _clock(path, each, self.settings)
            for path, each in self.proposals
            if each.stream == "glucose"
        ]
        days = np.concatenate([*times, np.zeros(0, "datetime64[ns]")]).astype("datetime64[D]")
        return (days.min(), days.max()) if days.size else None

    @cached_property
    def awake(self) -> Stamps:
        """Return when the client was up, by the clock: steps, movement and meals."""
        found = [np.zeros(0, dtype="datetime64[ns]")]
        for path, each in self.proposals:
            if each.stream in _AWAKE and "utc_offset" not in each.entry["columns"]:
                found.append(_clock(path, each, self.settings))
        return np.sort(np.concatenate(found))

    def clock_of_nights(
        self,
        start: Stamps,
        minutes: NDArray[np.float64],
        ahead: NDArray[np.float64],
        limits: Limits,
    ) -> tuple[str | None, dict[str, int]]:
        """Say whether nights are in UTC or by the clock: which has fewer steps and meals in them.

        Args:
            start: starts as they stand there.
            minutes: their lengths.
            ahead: how far the clock is ahead of UTC, in minutes.
            limits: how clear it has to be.

        Returns:
            utc, local or None; on how many nights it has fewer, and on how many the other.
        """
        good = ~np.isnat(start) & ~np.isnan(minutes) & ~np.isnan(ahead) & (ahead != 0)
        length = np.maximum(minutes[good] - 2 * limits.not_yet_asleep_min, 0) * MINUTE
        begins = start[good] + limits.not_yet_asleep_min * MINUTE
        local, utc = (
            np.searchsorted(self.awake, each + length) - np.searchsorted(self.awake, each)
            for each in (begins, begins + ahead[good] * MINUTE)
        )
        fewer = {"utc": int((utc < local).sum()), "local": int((local < utc).sum())}
        likely, other = sorted(fewer, key=lambda clock: -fewer[clock])
        clear = fewer[likely] >= limits.fewest_nights
        clear &= fewer[other] <= limits.share_of_nights * fewer[likely]
        return likely if clear else None, {"nights": fewer[likely], "others": fewer[other]}


def _clock(path: Path, proposal: Proposal, settings: Settings) -> Stamps:
    """Return the times of a file by the wall clock; of movement only where somebody moved."""
    source = Source.model_validate(dict(proposal.entry))
    found = FoundFile(path, path.name, source.stream, source)
    frame = read_file(found, read_bytes(path, path.name), settings, Findings()).frame
    if frame is None or frame.empty:
        return np.zeros(0, dtype="datetime64[ns]")
    if source.stream == "activity":
        counted = frame["steps"].notna().any()
        moving = frame["steps"] > 0 if counted else frame["kind"] != STILL
        frame = frame[moving & (frame["left_out"] == "")]
    clock = frame["clock" if "clock" in frame.columns else "start_clock"]
    return pd.to_datetime(clock).dropna().to_numpy("datetime64[ns]")


TO_MIN = {"s": 1 / 60, "min": 1.0, "h": 60.0}
MINUTE = np.timedelta64(1, "m")
_FARTHEST_MIN = 14 * 60


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
    # a count since 1970 is left out where the same moment stands beside it as a date
    timed = [x for x in timed if x in dated or all(apart_min(x, each) is None for each in dated)]
    start = [each for each in timed if says(each, "start")]
    end = [each for each in timed if says(each, "end") and each not in start]
    single = [each for each in timed if each not in (*start, *end)]
    lengths = [each for each in columns if each.numeric and says(each, "duration")]
    lengths = [each for each in lengths if not says(each, "part")]
    dates = [each for each in columns if each.written is not None and each.written.dates_only]
    return TimeColumns(single, start, end, lengths, dates, book)


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


def _map_span(times: TimeColumns, rule: StreamRule, notes: Notes) -> tuple[Column, ...]:
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
        map_unit("duration", length, rule.middle, notes, needed=True)
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
    *,
    needed: bool = False,
) -> bool:
    """Choose the unit of a column of minutes by its name and its values; say whether it is known.

    Args:
        key: the column of the stream.
        column: the file's own.
        middle: where the middle of its values lies, in minutes.
        notes: gets the unit.
        needed: without a unit the entry cannot be used.
    """
    said, (low, high) = column.unit, middle or (0, np.inf)
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


Floats = NDArray[np.float64]


def map_clock(
    columns: Sequence[Column], first: Column, nights: Floats | None, notes: Notes, others: Others
) -> None:
    """Say on which clock times are, where an offset stands in them or beside them.

    Args:
        columns: of the file.
        first: the one with the start of a record, or its only time.
        nights: the minutes of each record where they are nights, or None.
        notes: gets the choice.
        others: the client's other files.
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
    ahead = offset.values * TO_MIN[unit] if unit else np.asarray(text, dtype=np.float64)
    utc: dict[str, Any] = {"columns.utc_offset": offset.name}
    utc |= {"units.utc_offset": unit} if unit else {}
    known = ahead[~np.isnan(ahead)]
    if not known.any() and not first.written.unit:
        notes.choose("time_zone", None, "offset_is_zero", column=offset.name)
        return
    clock, code, facts = _decided(columns, first, ahead, nights, notes.book, others)
    if clock is None or "clock" in notes.answers:
        hours = {"hours": [float(each) / 60 for each in np.unique(known)[:4]]}
        options = [Option("utc", utc, "clock_utc", hours), Option("local", {}, "clock_local")]
        notes.ask("clock", "offset_beside", options, needed=True, column=offset.name)
        return
    for key, value in utc.items() if clock == "utc" else (("time_zone", None),):
        notes.choose(key, value, code, column=offset.name, **facts)


def _decided(
    columns: Sequence[Column],
    first: Column,
    ahead: Floats,
    nights: Floats | None,
    book: Exports,
    others: Others,
) -> tuple[str | None, str, dict[str, Any]]:
    """Return utc, local or None for times with an offset beside them, and what decides."""
    if first.written is not None and first.written.unit:
        return "utc", "counted_in_utc", {}
    for word in ("utc", "local"):
        if book.times[word].stand_in(first.words):
            return word, "clock_by_name", {"name": first.name}
    for count in columns:
        gap = apart_min(count, first) if count.written and count.written.unit else None
        for clock, wanted in (("local", ahead), ("utc", np.zeros(len(ahead)))):
            if gap is not None and np.nanmax(np.abs(gap - wanted), initial=0) < 1:
                return clock, f"count_{clock}", {"count_of": count.name}
    if nights is None:
        return None, "", {}
    found, facts = others.clock_of_nights(first_stamps(first), nights, ahead, book.limits)
    return found, f"nights_{found}", facts
