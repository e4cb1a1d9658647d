"""From the bytes of a file to the entries of ``sources.toml`` that are proposed for it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from pydantic import ValidationError

from miner.core.messages import MinerError, Severity, closest, expected_of
from miner.core.results.mapping import Loss, Option, Proposal, ReadRow
from miner.records.check.one_person import spellings
from miner.records.columns import (
    COLUMNS,
    STILL,
    TIME_OF_DAY,
    TIMES,
    UTC_OFFSET,
    factor,
    names_a_person,
)
from miner.records.findings import Findings
from miner.records.place.placing import place_rows, with_time_of_day
from miner.records.propose.columns import columns_of
from miner.records.propose.entries import SAMPLED, Fed, FilePart, entries_of, joined
from miner.records.propose.exports import read_exports
from miner.records.propose.layout import encoding_of, layout_of
from miner.records.propose.notes import Notes
from miner.records.propose.saved import as_toml
from miner.records.propose.times import times_of
from miner.records.read.cells import to_lengths, to_numbers
from miner.records.read.discover import TABLES, FoundFile, practice_of
from miner.records.read.files import explained, read_bytes
from miner.records.read.kinds import JSON_LINES, open_file
from miner.records.read.packed import ARCHIVE
from miner.records.read.settings import read_settings
from miner.records.read.sources import Source
from miner.records.read.spreadsheet import sheet_names
from miner.records.read.table_file import RawTable, check_header, read_rows
from miner.records.read.text_file import as_utf8, is_spreadsheet, texts_of, unpacked
from miner.records.stream_file import read_file
from miner.records.text_columns import clock_of
from miner.records.write.as_text import written_times

if TYPE_CHECKING:
    from miner.records.client import Settings
    from miner.records.propose.columns import Floats, Stamps
    from miner.records.propose.exports import Limits
    from miner.records.read.text_file import TextFile

_HEAD = 100_000
_STANDARD = re.compile(
    rb'"resourceType"\s*:\s*"[A-Z]|"schema_id"\s*:\s*\{|"effective_time_frame"\s*:\s*\{'
)
_DIGITS = re.compile(r"\d[\d._-]{3,}\d|\d{5,}")


_AWAKE = ("activity", "meals")
_MINUTE = np.timedelta64(1, "m")


@dataclass
class Job:
    """The file that is mapped, and the client's other files, looked at only where one is needed.

    Attributes:
        path, raw: the file.
        folder: the client's.
        settings: of the client.
        alone: nothing is asked of the other files, and nothing is read by the entries.
    """

    path: Path
    raw: bytes
    folder: Path
    settings: Settings
    alone: bool

    @cached_property
    def proposals(self) -> list[tuple[Path, Proposal]]:
        """Return what is proposed for each of the other tables, where that is whole."""
        found: list[tuple[Path, Proposal]] = []
        for path in [] if self.alone else sorted(self.folder.iterdir()):
            if path.name != self.path.name and path.suffix.lower() in TABLES and path.is_file():
                try:
                    found += [
                        (path, each)
                        for each in propose(path, client=self.folder, alone=True)
                        if each.complete
                    ]
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
    def days(self) -> Stamps:
        """Return the days of the glucose, by the other files."""
        of = [each for each in self.proposals if each[1].stream == "glucose"]
        return self._clocks(of).astype("datetime64[D]")

    def near_readings(self, times: Stamps) -> int:
        """Return how many times are within the days of the glucose; 0 where these are not known."""
        days = times.astype("datetime64[D]")
        if not self.days.size:
            return 0
        return int(((days >= self.days.min()) & (days <= self.days.max())).sum())

    @cached_property
    def awake(self) -> Stamps:
        """Return when the client was up, by the clock: steps, movement and meals."""
        up = [each for each in self.proposals if each[1].stream in _AWAKE]
        return np.sort(self._clocks([x for x in up if "utc_offset" not in x[1].entry["columns"]]))

    def _clocks(self, proposals: Sequence[tuple[Path, Proposal]]) -> Stamps:
        found = [_clock(path, each, self.settings) for path, each in proposals]
        return np.concatenate([*found, np.zeros(0, dtype="datetime64[ns]")])

    def clock_of_nights(
        self, start: Stamps, minutes: Floats, ahead: Floats, limits: Limits
    ) -> tuple[str | None, dict[str, int]]:
        """Say whether nights are in UTC or by the clock: which has fewer steps and meals in them.

        Args:
            start: starts as they are written there.
            minutes: their lengths.
            ahead: how far the clock is ahead of UTC, in minutes.
            limits: how clear it has to be.

        Returns:
            utc, local or None; on how many nights it has fewer, and on how many the other.
        """
        good = ~np.isnat(start) & ~np.isnan(minutes) & ~np.isnan(ahead) & (ahead != 0)
        length = np.maximum(minutes[good] - 2 * limits.not_yet_asleep_min, 0) * _MINUTE
        begins = start[good] + limits.not_yet_asleep_min * _MINUTE
        local, utc = (
            np.searchsorted(self.awake, each + length) - np.searchsorted(self.awake, each)
            for each in (begins, begins + ahead[good] * _MINUTE)
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
    return pd.to_datetime(clock_of(frame)).dropna().to_numpy("datetime64[ns]")


def propose(
    path: Path,
    answers: Mapping[str, str] | None = None,
    *,
    client: Path | None = None,
    file: str | None = None,
    shared: bool = False,
    alone: bool = False,
) -> tuple[Proposal, ...]:
    """Propose how a file could be read: one entry for each stream in it. Nothing is written.

    Args:
        path: the file.
        answers: what a person answered, by key; a key of one stream only is ``stress.KEY``.
        client: the client's folder; by default the one the file is in.
        file: the pattern that the entries are for; by default the file's name.
        shared: the entries are for every client of a practice. Digits in the file's name, such as
            a date, then match any digits.
        alone: the client's other files are not read, and no rows are read by the entries.

    Raises:
        MinerError: it cannot be opened, there is no table with a header in it, or an answer cannot
            be used.
    """
    name, folder = path.name, client or path.resolve().parent
    if not path.exists():
        raise MinerError("records.no_such_file", file=path)
    if not name.isprintable():
        raise MinerError("records.name_not_printable", file=name)
    raw = read_bytes(path, name)
    if not raw.strip():
        raise MinerError("records.file_empty", file=name)
    if name.casefold().endswith(JSON_LINES) and _STANDARD.search(raw[:_HEAD]):
        to_rename = name.casefold().endswith(".jsonl")
        code = "of_a_standard_to_rename" if to_rename else "of_a_standard"
        raise MinerError(f"records.{code}", file=name)
    practice = practice_of(folder, None)
    job = Job(path, raw, folder, read_settings(folder, practice), alone)
    notes = Notes(read_exports(practice), dict(answers or {}))
    pattern = "".join(f"[{mark}]" if mark in "*?[" else mark for mark in name)
    notes.put("file", file or (_DIGITS.sub("*", pattern) if shared else pattern))
    return _every_part(job, notes)


def _every_part(job: Job, notes: Notes) -> tuple[Proposal, ...]:
    """Propose the entries of every sheet, or of every file of an archive."""
    name, parts = job.path.name, list[str | None]([notes.answers.pop("part", None)])
    sheets = is_spreadsheet(name, job.raw)
    if (sheets or job.raw.startswith(ARCHIVE)) and parts == [None]:
        held = sheet_names if sheets else texts_of
        names = held(name, job.raw)
        parts = [*names] if len(names) > 1 else parts
    found: list[Proposal] = []
    faults: list[MinerError] = []
    for part in parts:
        mine = notes.copy(notes.answers)
        mine.put("part", part)
        try:
            found += map(_proposal, entries_of(_opened(job, mine), mine))
        except MinerError as error:
            faults.append(error)
    if not found:
        raise faults[0]
    return tuple([each for each in found if each.stream is not None] or found[:1])


def _opened(job: Job, notes: Notes) -> FilePart:
    """Open one table of a file: how it is laid out, and what its columns hold."""
    name, raw, part = job.path.name, job.raw, notes.get("part")
    sheet = is_spreadsheet(name, raw)
    if not sheet:
        inner, content = unpacked(name, raw, part) if raw.startswith(ARCHIVE) else (name, raw)
        encoding = encoding_of(name, content, notes)
        if PurePath(inner).suffix.casefold() not in JSON_LINES:
            layout_of(name, as_utf8(name, content, encoding), notes)
    text, source = open_file(name, raw, _all_text(name, notes), Findings())
    if sheet and text is not None:
        layout_of(name, text.body, notes, "\t")
        text, source = open_file(name, raw, _all_text(name, notes), Findings())
    if text is None or not text.header:
        raise MinerError("records.no_row", file=name)
    names = {str(at): column for at, column in enumerate(text.header) if column}
    check_header(text, source, ())
    findings = Findings()
    table = read_rows(text, source.model_copy(update={"columns": names}), findings)
    if len(table.rows) == 0:
        raise _no_rows(name, findings)
    table = _of_one_person(replace(table, cells=table.cells[list(names.values())]), notes)
    marked = not name.casefold().endswith(JSON_LINES)
    columns, apart = joined(columns_of(table, notes, marked=marked), notes)
    return FilePart(job, text, table, columns, times_of(columns, notes.book), apart)


def _of_one_person(table: RawTable, notes: Notes) -> RawTable:
    """Return the rows of one person; where several are named, ask who is meant."""
    for column in filter(names_a_person, map(str, table.cells.columns)):
        words, key = table.text(column), f"where.{column}"
        people = spellings(words)
        if len(people) < 2:
            continue
        options = [
            Option(name, {key: every}, "of_person", {"rows": int(words.isin(every).sum())})
            for name, every in people.items()
        ]
        chosen = notes.ask(key, "people", options, needed=True, column=column, people=len(people))
        if chosen is not None:
            table = table.keep(words.isin(notes.get(key)).to_numpy())
    return table


def _all_text(name: str, notes: Notes) -> Source:
    keys = ("encoding", "delimiter", "skip_rows", "part")
    given = {key: notes.get(key) for key in keys if notes.get(key) is not None}
    return Source.model_construct(file=name, stream="tags", columns={}, **given)


def _no_rows(name: str, findings: Findings) -> MinerError:
    if findings.items:
        first = findings.items[0]
        told = first.as_message()
        return MinerError("records.mark_in_numbers", file=name, row=first.row, told=told)
    return MinerError("records.no_row_under_header", file=name)


_SHOWN = 3
_TIMES = (*TIMES, TIME_OF_DAY, UTC_OFFSET)


def losses_of(job: Job, source: Source, rows: int, limits: Limits) -> tuple[Loss, ...]:
    """Return what an entry would leave out of so many rows, the most first.

    Where it is so much that the entry is refused, dates and start and end are tried the other way
    round.
    """

    def lost(by: Source) -> tuple[Loss, ...]:
        findings = Findings()
        # next to an entry of its times alone: rows with nothing else are not of the stream
        times = {key: own for key, own in by.columns.items() if key in _TIMES}
        bare = by.model_copy(update={"columns": times, "episodes": None, "where": {}})
        beside = (bare,) if len(times) < len(by.needed) else ()
        found = FoundFile(job.path, job.path.name, by.stream, by, beside)
        read_file(found, job.raw, job.settings, findings)
        losses = []
        for item in findings.items:
            count = {Severity.STOP: rows, Severity.LEFT_OUT: item.count}.get(item.severity, 0)
            if count:
                few = count <= limits.loss_reported * rows
                breaks = count > limits.loss_refused * rows
                told = item.as_message()
                losses.append(Loss(min(count, rows), rows, told, breaks, few=few, row=item.row))
        return tuple(sorted(losses, key=lambda each: -each.count))

    losses = lost(source)
    if any(each.breaks for each in losses):
        for keys, other in _other_orders(source):
            if not any(each.breaks for each in lost(other)):
                return (replace(losses[0], otherwise=keys), *losses[1:])
    return losses


def _other_orders(source: Source) -> Iterator[tuple[dict[str, str], Source]]:
    """Give an entry with the parts of a date, or start and end, the other way round."""
    form = source.time_format or ""
    if "%d" in form and "%m" in form:
        turned = form.replace("%d", "\0").replace("%m", "%d").replace("\0", "%m")
        yield {"time_format": turned}, source.model_copy(update={"time_format": turned})
    if {"start", "end"} <= set(source.columns):
        ends = {"start": source.columns["end"], "end": source.columns["start"]}
        other = source.model_copy(update={"columns": source.columns | ends})
        yield {f"columns.{key}": own for key, own in ends.items()}, other


def first_rows(
    text: TextFile, table: RawTable, source: Source, settings: Settings
) -> tuple[ReadRow, ...]:
    """Return the first rows of a stream: as they are in the file, and as they would be read.

    Args:
        text: the file.
        table: its rows that hold something of the stream, every cell as text.
        source: the entry.
        settings: of the client.
    """
    head = table.keep(np.arange(len(table.rows)) < _SHOWN)
    zone = source.time_zone or settings.time_zone
    placed = place_rows(with_time_of_day(head, source), source, zone, Findings())
    if placed is None:
        return ()
    zoned, lines = not placed.unzoned, text.body.split(b"\n")
    times = [written_times(placed.start, placed.start_clock, zoned=zoned)]
    if placed.end is not None and placed.end_clock is not None:
        times.append(written_times(placed.end, placed.end_clock, zoned=zoned))
    given = {*source.columns, *source.constants, *(["level"] if source.episodes else [])}
    keys = [key for key in COLUMNS[source.stream].values if key in given]
    values = {key: _values(placed.table, source, key) for key in keys}
    return tuple(
        ReadRow(
            row=int(row),
            raw=lines[int(row) - 1].decode("utf-8", "replace"),
            times=tuple(str(each.iloc[at]) for each in times),
            values=tuple((key, told[at], unit) for key, (told, unit) in values.items() if told[at]),
        )
        for at, row in enumerate(placed.table.rows)
    )


def _values(table: RawTable, source: Source, key: str) -> tuple[list[str], str]:
    """Return what a column of the stream holds in these rows, with its unit."""
    if key in source.constants:
        return [source.constants[key]] * len(table.rows), ""
    own = source.columns.get(key) or (source.episodes.column if source.episodes else "")
    number = COLUMNS[source.stream].numbers.get(key)
    if number is None or (key == "level" and source.levels):
        return table.text(own).tolist(), ""
    if number.unit == "min":
        read, _ = to_lengths(table, own, source, source.units.get(key))
    else:
        read, _ = to_numbers(table, own, source)
    read = read * (factor(source.units.get(key, number.unit), number.unit) or 1.0)
    unit = "" if number.unit in ("count", "level") else number.unit
    return ["" if np.isnan(each) else f"{each:.5g}" for each in read], unit


def _proposal(fed: Fed) -> Proposal:
    """Return what is proposed for one stream; of a whole entry with its first rows and losses."""
    part, entry = fed.part, fed.notes.table()
    own = [(each.text != "").to_numpy() for each in fed.taken]
    table = part.table.keep(np.logical_or.reduce(own)) if own else part.table
    found = Proposal(
        file=part.job.path.name,
        stream=fed.stream,
        entry=entry,
        toml=as_toml(entry),
        known=tuple(fed.notes.known),
        questions=tuple(fed.notes.questions),
        unused=fed.unused,
        rows=len(table.rows),
        cadence_min=part.times.cadence_min if fed.stream in SAMPLED else None,
    )
    if not found.complete or not found.rows or part.job.alone:
        return found
    source = _source(entry, part)
    losses = losses_of(part.job, source, found.rows, part.times.book.limits)
    sample = first_rows(part.text, table, source, part.job.settings)
    return replace(found, sample=sample, losses=losses)


def _source(entry: Mapping[str, Any], part: FilePart) -> Source:
    """Return an entry as it would be read; one that cannot be is an answer that cannot be used."""
    name = part.job.path.name
    try:
        source = Source.model_validate(dict(entry))
    except ValidationError as error:
        if any(each["loc"] for each in error.errors()):
            raise explained(error, Source, name) from error
        stream, needed = entry["stream"], expected_of(error.errors()[0])
        raise MinerError(
            "records.column_lacking", file=name, stream=stream, needed=needed
        ) from error
    names = [each for each in part.text.header if each]
    for own in source.needed:
        if own not in names:
            close = closest(own, names)
            raise MinerError(
                "records.no_column_among", file=name, name=own, columns=names[:12], close=close
            )
    return source
