"""From the bytes of a file to the entries of ``sources.toml`` that are proposed for it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path, PurePath

from miner.core.errors import MinerError
from miner.core.results.mapping import Option, Proposal
from miner.records.archive import is_spreadsheet, texts_of, unpacked
from miner.records.check.one_person import spellings
from miner.records.columns import names_a_person
from miner.records.discover import practice_of
from miner.records.findings import Findings
from miner.records.kinds import JSON_LINES, open_file
from miner.records.proposing.columns import columns_of, joined
from miner.records.proposing.entries import Job, Part, entries_of
from miner.records.proposing.exports import read_exports
from miner.records.proposing.layout import encoding_of, layout_of
from miner.records.proposing.notes import Notes
from miner.records.proposing.others import Others
from miner.records.proposing.times import times_of
from miner.records.settings import read_settings
from miner.records.sources import Source
from miner.records.spreadsheet import sheet_names
from miner.records.table_file import Table, check_header, read_rows
from miner.records.text_file import ARCHIVE, as_utf8, read_bytes

_HEAD = 100_000
_STANDARD = re.compile(
    rb'"resourceType"\s*:\s*"[A-Z]|"schema_id"\s*:\s*\{|"effective_time_frame"\s*:\s*\{'
)
_DIGITS = re.compile(r"\d[\d._-]{3,}\d|\d{5,}")


def propose(
    path: Path,
    answers: Mapping[str, str] | None = None,
    *,
    client: Path | None = None,
    file: str | None = None,
    shared: bool = False,
    alone: bool = False,
) -> tuple[Proposal, ...]:
    """Propose how a file could be mapped, an entry for each stream it feeds; nothing is written.

    Args:
        path: the file.
        answers: what a person says, by key; a key of one stream alone as ``stress.KEY``.
        client: the client's folder; by default the one the file lies in.
        file: the pattern that the entries are for; by default the file's name.
        shared: the entries are meant for every client of a practice: a run of digits in the
            file's name, such as a date, then stands for any.
        alone: nothing is asked of the client's other files, and nothing is read by the entries.

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
    settings = read_settings(folder, practice)
    ask = None if alone else partial(propose, client=folder, alone=True)
    others = Others(path, folder, ask, settings)
    job = Job(path, raw, read_exports(practice), settings, others)
    notes = Notes(dict(answers or {}))
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
            found += entries_of(_opened(job, mine), mine)
        except MinerError as error:
            faults.append(error)
    if not found:
        raise faults[0]
    return tuple([each for each in found if each.stream is not None] or found[:1])


def _opened(job: Job, notes: Notes) -> Part:
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
    columns, apart = joined(columns_of(table, notes, job.book, marked=marked), notes, job.book)
    return Part(job, text, table, columns, times_of(columns, job.book), apart)


def _of_one_person(table: Table, notes: Notes) -> Table:
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
