"""Reads a file by an entry that is only proposed: its first rows, and what would be lost."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from miner.core.results import Severity
from miner.core.results.mapping import Loss, ReadRow
from miner.records.cells import to_lengths, to_numbers
from miner.records.client import Settings
from miner.records.columns import COLUMNS, factor
from miner.records.discover import Found
from miner.records.findings import Findings
from miner.records.placing import place_rows
from miner.records.proposing.exports import Limits
from miner.records.reading import read_file
from miner.records.sources import TIME_OF_DAY, TIMES, UTC_OFFSET, Source
from miner.records.table_file import Table
from miner.records.text_file import TextFile
from miner.records.time_of_day import with_time_of_day
from miner.records.writing import written_times

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
        read_file(Found(path, path.name, by.stream, by, beside), raw, settings, findings)
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
    text: TextFile, table: Table, source: Source, settings: Settings
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
    times = [written_times(placed.start, placed.start_clock, zoned)]
    if placed.end is not None and placed.end_clock is not None:
        times.append(written_times(placed.end, placed.end_clock, zoned))
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


def _values(table: Table, source: Source, key: str) -> tuple[list[str], str]:
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
