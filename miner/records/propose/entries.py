"""Which streams a table feeds, and the entry that is proposed for each of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

import numpy as np
from pydantic import ValidationError

from miner.core.messages import MinerError, Severity, closest
from miner.core.results.mapping import Loss, Option, Proposal, ReadRow
from miner.records.client import STREAMS, Settings
from miner.records.columns import COLUMNS, factor
from miner.records.findings import Findings
from miner.records.place.placing import place_rows, with_time_of_day
from miner.records.place.times import hint
from miner.records.propose.columns import Column, columns_of, joined
from miner.records.propose.exports import Limits, tokens
from miner.records.propose.notes import Notes, no_option
from miner.records.propose.saved import as_toml
from miner.records.propose.streams import Claim, Filling, cadence_min, claims, feeds
from miner.records.propose.times import (
    Others,
    TimeColumns,
    map_clock,
    map_format,
    map_times,
    times_of,
)
from miner.records.read.cells import to_lengths, to_numbers
from miner.records.read.discover import FoundFile
from miner.records.read.sources import TIME_OF_DAY, TIMES, UTC_OFFSET, Source
from miner.records.read.toml_file import expected_of, explained
from miner.records.stream_file import read_file
from miner.records.write.tables import written_times

if TYPE_CHECKING:
    from miner.records.read.table_file import RawTable
    from miner.records.read.text_file import TextFile

_SHOWN = 3
_TIMES = (*TIMES, TIME_OF_DAY, UTC_OFFSET)


def losses_of(
    path: Path, raw: bytes, source: Source, rows: int, settings: Settings, limits: Limits
) -> tuple[Loss, ...]:
    """Return what an entry would leave out of so many rows, the most first.

    Where it is so much that the entry is refused, dates and start and end are tried the other way
    round.
    """

    def lost(by: Source) -> tuple[Loss, ...]:
        findings = Findings()
        # beside an entry of its times alone: rows with nothing else are not of the stream
        times = {key: own for key, own in by.columns.items() if key in _TIMES}
        bare = by.model_copy(update={"columns": times, "episodes": None, "where": {}})
        beside = (bare,) if len(times) < len(by.needed) else ()
        read_file(FoundFile(path, path.name, by.stream, by, beside), raw, settings, findings)
        found = []
        for item in findings.items:
            count = {Severity.STOP: rows, Severity.LEFT_OUT: item.count}.get(item.severity, 0)
            if count:
                few = count <= limits.loss_reported * rows
                breaks = count > limits.loss_refused * rows
                found.append(
                    Loss(min(count, rows), rows, item.as_message(), breaks, few=few, row=item.row)
                )
        return tuple(sorted(found, key=lambda each: -each.count))

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
    """Return the first rows of a stream: as they stand in the file, and as they would be read.

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


_SAMPLED = ("glucose", "stress", "activity")
_SOME_ROWS = 0.5


@dataclass(frozen=True, slots=True)
class Job:
    """One file, and all that is needed to look at it."""

    path: Path
    raw: bytes
    settings: Settings
    others: Others


@dataclass(frozen=True, slots=True)
class FilePart:
    """One table of a file: a sheet, a file of an archive, or the only one there is.

    Attributes:
        job: the file.
        text: the table as text.
        table: its rows.
        columns: what they hold; a time of day that stands apart is put to its date.
        times: those that hold times.
        apart: the names of the columns with dates and with times of day, where they stand apart.
    """

    job: Job
    text: TextFile
    table: RawTable
    columns: list[Column]
    times: TimeColumns
    apart: tuple[str, str] | None


def entries_of(part: FilePart, notes: Notes) -> tuple[Proposal, ...]:
    """Propose an entry for each stream that a table feeds.

    Args:
        part: the table.
        notes: how it is laid out, and what a person says.

    Raises:
        MinerError: an answer cannot be used.
    """
    given = notes.answers.pop("stream", None)
    if given is not None:
        found = [_said(each.strip(), part) for each in given.split(",")]
    else:
        kinds = _kinds_of_rows(part)
        if kinds:
            every = [_rows_of(part, notes, stream, *rows) for stream, rows in kinds.items()]
            return tuple(one for each in every for one in entries_of(*each))
        named = tokens(PurePath(part.job.path.name).stem)
        found = claims(named, part.columns, part.times)
        if not _clear(found, part, notes):
            return (_proposal(part, None, notes, ()),)
    free, built = part.columns, list[Filling]()
    for claim in found:
        if given is not None or not built or _comes_along(claim, free, part):
            own = notes.copy(_answers(notes.answers, claim.stream))
            own.choose("stream", claim.stream, "speaks")
            built.append(_filled(part, claim, free, own))
            free = built[-1].columns
    _finish([each.notes for each in built])
    done = [_proposal(part, x.claim.stream, x.notes, tuple(x.taken.values())) for x in built]
    used = {name for each in done for name in _own_columns(each.entry)}
    unused = tuple(each.name for each in part.columns if each.name not in used)
    return tuple(replace(each, unused=unused) for each in done)


def _said(stream: str, part: FilePart) -> Claim:
    """Return the claim of a stream that a person names."""
    if stream not in STREAMS:
        raise no_option("stream", stream, STREAMS)
    if not part.times.any and (stream != "tags" or not part.times.dates):
        raise _without_times(part)
    fed = feeds(stream, part.columns, part.times, weak=True)
    return Claim(stream, part.times.book.streams[stream], 1, fed or ())


def _clear(found: Sequence[Claim], part: FilePart, notes: Notes) -> bool:
    """Say whether one stream is clearly meant; else ask which."""
    first = set(found[0].essential) if found else set()
    rivals = [
        x for x in found if x.marks == found[0].marks and (x.essential and set(x.essential) & first)
    ]
    if found and len(rivals) < 2:
        return True
    rows = {"rows": len(part.table.rows)}
    fits = [each.stream for each in rivals] or [
        each for each in STREAMS if feeds(each, part.columns, part.times, weak=True) is not None
    ]
    if not fits and not part.times.any:
        raise _without_times(part)
    code, facts = "nothing_speaks", dict[str, Any]()
    if rivals:
        code, facts = "several_streams", {"streams": fits}
    options = [Option(each, {"stream": each}, "stream", rows) for each in fits]
    notes.ask("stream", code, options, needed=True, **facts)
    return False


def _without_times(part: FilePart) -> MinerError:
    """Return the refusal of a table in which no column holds dates with times of day."""
    name = part.job.path.name
    if part.times.dates:
        return MinerError("records.dates_alone", file=name, column=part.times.dates[0].name)
    filled = [each for each in part.columns if each.filled]
    named = [each for each in filled if part.times.book.times["time"].stand_in(each.words)]
    for column in [*named, *(each for each in filled if hint(next(iter(each.counts))))]:
        first = str(column.text[column.text != ""].iloc[0])
        seems = hint(first)
        return MinerError(
            "records.times_that_seem_else" if seems else "records.times_not_readable",
            file=name,
            column=column.name,
            first=first[:40],
            hint=seems,
        )
    return MinerError("records.no_column_of_times", file=name)


def _comes_along(claim: Claim, free: Sequence[Column], part: FilePart) -> bool:
    """Say whether a file feeds one more stream from the columns that are still free.

    A level, steps and readings do so where they are sampled: one figure a night is no episode.
    """
    fed = feeds(claim.stream, free, part.times, weak=False)
    if not fed:
        return False
    if claim.stream == "tags":
        return max(each.filled for each in fed) < _SOME_ROWS * len(part.table.rows)
    return claim.stream not in _SAMPLED or cadence_min(part.times) is not None


def _answers(answers: Mapping[str, str], stream: str) -> dict[str, str]:
    """Return the answers that may be about a stream; what is about it alone comes first."""
    mine = {key: text for key, text in answers.items() if key.partition(".")[0] not in STREAMS}
    for key, text in answers.items():
        if key.startswith(f"{stream}."):
            mine[key.removeprefix(f"{stream}.")] = text
    return mine


def _finish(every: Sequence[Notes]) -> None:
    """Give what nothing asked for to the first entry, unless another one took it."""
    for at, notes in enumerate(every):
        for key in list(notes.answers):
            if at or any(key not in each.answers for each in every):
                del notes.answers[key]
        notes.finish()


def _filled(part: FilePart, claim: Claim, free: Sequence[Column], notes: Notes) -> Filling:
    job = part.job
    mapped = map_times(part.times, claim.rule, notes)
    length = notes.get("columns.duration")
    rest = [each for each in free if each.written is None and each.name != length]
    filling = Filling(claim, rest, part.times, notes)
    filling.fill()
    filling.columns = [each for each in free if each not in filling.taken.values()]
    if mapped:
        if part.apart is not None and mapped[0].name == part.apart[0]:
            date, clock = part.apart
            notes.choose(f"columns.{TIME_OF_DAY}", clock, "time_of_day", date=date)
        map_format(mapped, notes, job.others)
        nights = filling.minutes() if claim.stream == "sleep" else None
        low, high = claim.rule.middle
        half = low if nights is None else float(np.nanmedian(nights))
        if half > 0 and not low <= half <= high:
            options = [Option("nights", {}, "nights")]
            notes.ask("rows", "not_nights", options, needed=True, middle=half)
        map_clock(part.columns, mapped[0], nights, notes, job.others)
    return filling


def _proposal(
    part: FilePart, stream: str | None, notes: Notes, taken: Sequence[Column]
) -> Proposal:
    entry, job = notes.table(), part.job
    own = [(each.text != "").to_numpy() for each in taken]
    table = part.table.keep(np.logical_or.reduce(own)) if own else part.table
    found = Proposal(
        file=job.path.name,
        stream=stream,
        entry=entry,
        toml=as_toml(entry),
        known=tuple(notes.known),
        questions=tuple(notes.questions),
        unused=tuple(each.name for each in part.columns),
        rows=len(table.rows),
        cadence_min=cadence_min(part.times) if stream in _SAMPLED else None,
    )
    if not found.complete or not found.rows or job.others.propose is None:
        return found
    source, limits = _source(entry, part), part.times.book.limits
    losses = losses_of(job.path, job.raw, source, found.rows, job.settings, limits)
    sample = first_rows(part.text, table, source, job.settings)
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


def _own_columns(entry: Mapping[str, Any]) -> list[str]:
    episodes = [entry["episodes"]["column"]] if "episodes" in entry else []
    return [*entry.get("columns", {}).values(), *episodes, *entry.get("where", {})]


def _kinds_of_rows(part: FilePart) -> dict[str, tuple[Column, list[str]]]:
    """Return the streams whose rows stand one below the other, told apart by a column of words."""
    for column in part.columns:
        found: dict[str, tuple[Column, list[str]]] = {}
        for word in column.listed if column.filled == len(part.table.rows) else ():
            for stream, rule in part.times.book.streams.items():
                if rule.speaks.stand_in(tokens(word)):
                    found.setdefault(stream, (column, []))[1].append(word)
        if len(found) > 1:
            return found
    return {}


def _rows_of(
    part: FilePart, notes: Notes, stream: str, column: Column, words: list[str]
) -> tuple[FilePart, Notes]:
    """Return the rows of one kind as a table of its own, and notes that keep only these."""
    table = part.table.keep(column.text.isin(words).to_numpy())
    names = [x.name for x in part.columns if x is not column and (table.text(x.name) != "").any()]
    table = replace(table, cells=table.cells[names])
    own = notes.copy(_answers(notes.answers, stream) | {"stream": stream})
    own.choose(f"where.{column.name}", words, "kinds_of_rows", column=column.name)
    columns, apart = joined(columns_of(table, own, marked=True), own)
    times = times_of(columns, own.book)
    return replace(part, table=table, columns=columns, times=times, apart=apart), own
