"""From the bytes of a file to a proposed entry of ``sources.toml``."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path, PurePath

from pydantic import ValidationError

from miner.errors import MinerError
from miner.records.archive import is_spreadsheet, texts_of, unpacked
from miner.records.findings import Findings
from miner.records.kinds import ARCHIVE, JSON_LINES, open_file
from miner.records.proposing.apart import joined, map_time_of_day
from miner.records.proposing.cells import Column, columns_of
from miner.records.proposing.entry import as_toml
from miner.records.proposing.glucose import propose_glucose
from miner.records.proposing.intervals import propose_activity, propose_sleep, propose_stress
from miner.records.proposing.layout import encoding_of, layout_of
from miner.records.proposing.notes import Notes
from miner.records.proposing.notes_of_food import propose_meals, propose_tags
from miner.records.proposing.streams import choose_stream
from miner.records.proposing.times import TimeColumns, cadence_min, map_format, time_columns
from miner.records.sources import Source
from miner.records.spreadsheet import sheet_names
from miner.records.table_file import Table, check_header, read_rows
from miner.records.text_file import as_utf8, read_bytes
from miner.results.mapping import Proposal

Proposer = Callable[[Sequence[Column], TimeColumns, Notes], None]
_PROPOSERS: dict[str, Proposer] = {
    "glucose": propose_glucose,
    "sleep": propose_sleep,
    "stress": propose_stress,
    "activity": propose_activity,
    "meals": propose_meals,
    "tags": propose_tags,
}
_SAMPLED = ("glucose", "stress", "activity")
_DIGITS = re.compile(r"\d[\d._-]{3,}\d|\d{5,}")


def propose(path: Path, *, shared: bool = False, stream: str | None = None) -> Proposal:
    """Propose how a file could be mapped; nothing is written.

    Args:
        path: the file.
        shared: the entry is meant for every client of a practice: a run of digits in the file's
            name, such as a date, then stands for any.
        stream: which stream it feeds, where somebody says so.

    Raises:
        MinerError: it cannot be opened, or there is no table with a header in it.
    """
    notes, name = Notes(), path.name
    if not path.exists():
        raise MinerError("there is no such file", "the file to map", "Check the path.", file=path)
    raw = read_bytes(path, name)
    if not raw.strip():
        raise MinerError("the file is empty", "a table", "Export it again.", file=name)
    _name(name, shared, notes)
    table = _opened(name, raw, notes)
    columns = columns_of(table, notes, marked=not name.casefold().endswith(JSON_LINES))
    columns, clock = joined(columns, notes)
    times = time_columns(columns)
    if stream is not None:
        notes.choose("stream", stream, "chosen by you")
    else:
        stream = choose_stream(name, columns, times, notes)
    cadence = None
    if stream is not None:
        _PROPOSERS[stream](columns, times, notes)
        map_time_of_day(clock, notes)
        stamps = map_format(columns, notes)
        cadence = cadence_min(stamps) if stream in _SAMPLED else None
        _rows_to_keep(columns, notes)
    return _proposal(name, stream, columns, notes, len(table.rows), cadence)


def _proposal(
    name: str,
    stream: str | None,
    columns: Sequence[Column],
    notes: Notes,
    rows: int,
    cadence: float | None,
) -> Proposal:
    entry = notes.table()
    if stream is not None and not any(item.needed for item in notes.undecided):
        _usable(entry, notes)
    used = {*notes.columns.values(), notes.episodes.get("column")}
    toml = as_toml(entry, notes.undecided)
    return Proposal(
        file=name,
        stream=stream,
        entry=entry,
        toml=toml,
        choices=tuple(notes.choices),
        undecided=tuple(notes.undecided),
        unused=tuple(each.name for each in columns if each.name not in used),
        rows=rows,
        cadence_min=cadence,
    )


def _usable(entry: dict[str, object], notes: Notes) -> None:
    try:
        Source.model_validate(entry)
    except ValidationError as error:
        told = error.errors()[0]["msg"].removeprefix("Value error, ")
        notes.leave("the entry", f"it lacks {told}", needed=True)


def _name(name: str, shared: bool, notes: Notes) -> None:
    pattern = "".join(f"[{mark}]" if mark in "*?[" else mark for mark in name)
    if shared and _DIGITS.search(name):
        notes.choose("file", _DIGITS.sub("*", pattern), "the digits differ from export to export")
    else:
        notes.choose("file", pattern, "its name in the client folder")


def _opened(name: str, raw: bytes, notes: Notes) -> Table:
    inner, content, delimiter = name, raw, None
    if raw.startswith(ARCHIVE):
        if is_spreadsheet(name, raw):
            delimiter = "\t"
            _one_of(sheet_names(name, raw), "sheet", name)
        else:
            _one_of(texts_of(name, raw), "file of the archive", name)
            inner, content = unpacked(name, raw, notes.entry.get("part"))
    if delimiter is None:
        encoding = encoding_of(name, content, notes)
        if PurePath(inner).suffix.casefold() not in JSON_LINES:
            layout_of(name, as_utf8(name, content, encoding), notes)
    return _table(name, raw, notes, delimiter)


def _one_of(names: Sequence[str], kind: str, file: str) -> None:
    if len(names) > 1:
        raise MinerError(
            f"there is more than one {kind}: {', '.join(map(repr, names[:8]))}",
            f"a file with one {kind}",
            "Take the one with the records out into a file of its own. Or map it by hand with "
            "'part' in sources.toml.",
            file=file,
        )


def _table(name: str, raw: bytes, notes: Notes, delimiter: str | None) -> Table:
    source = _all_text(name, notes)
    text, read_by = open_file(name, raw, source)
    if text is not None and delimiter is not None:
        layout_of(name, text.body, notes, delimiter)
        text, read_by = open_file(name, raw, _all_text(name, notes))
    if text is None or not text.header:
        raise MinerError("there is no row in it", "a table", "Export it again.", file=name)
    mapped = {str(at): column for at, column in enumerate(text.header) if column}
    check_header(text, read_by, ())
    findings = Findings()
    table = read_rows(text, read_by.model_copy(update={"columns": mapped}), findings)
    if len(table.rows) == 0:
        raise _no_rows(name, findings)
    return replace(table, cells=table.cells[list(mapped.values())])


def _no_rows(name: str, findings: Findings) -> MinerError:
    for told in findings.items:
        return MinerError(
            told.what,
            told.expected,
            "The mark between the cells may stand inside the numbers as well. Export it with "
            "semicolons between the cells, or with decimal points.",
            file=name,
            row=told.row,
        )
    told_empty = "there is a header and no row under it"
    return MinerError(told_empty, "some rows", "Export it again.", file=name)


def _all_text(name: str, notes: Notes) -> Source:
    keys = ("encoding", "delimiter", "skip_rows", "part")
    given = {key: notes.entry[key] for key in keys if key in notes.entry}
    return Source.model_construct(file=name, stream="tags", columns={}, **given)


def _rows_to_keep(columns: Sequence[Column], notes: Notes) -> None:
    used = set(notes.columns.values())
    for each in columns:
        words = each.listed
        if words and each.name not in used:
            counts = each.text.value_counts()
            shown = ", ".join(f"{word} {counts[word]}" for word in words[:5])
            told = f"'{each.name}' tells kinds of rows apart ({shown}); all are kept as it stands"
            options = tuple(f'where = {{ "{each.name}" = ["{word}"] }}' for word in words[:5])
            notes.leave("where", told, options)
