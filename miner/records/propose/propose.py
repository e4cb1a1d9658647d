"""From the bytes of a file to the entries of ``sources.toml`` that are proposed for it."""

from __future__ import annotations

import codecs
import csv
import io
import re
import unicodedata
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from pathlib import Path, PurePath

from miner.core.messages import MinerError
from miner.core.results.mapping import Option, Proposal
from miner.records.check.one_person import spellings
from miner.records.columns import names_a_person
from miner.records.findings import Findings
from miner.records.propose.columns import columns_of, joined
from miner.records.propose.entries import FilePart, Job, entries_of
from miner.records.propose.exports import read_exports
from miner.records.propose.notes import Notes, typed
from miner.records.propose.times import Others, times_of
from miner.records.read.discover import practice_of
from miner.records.read.kinds import JSON_LINES, open_file
from miner.records.read.settings import read_settings
from miner.records.read.sources import Source
from miner.records.read.spreadsheet import sheet_names
from miner.records.read.table_file import RawTable, check_header, read_rows
from miner.records.read.text_file import (
    ARCHIVE,
    SIGNATURES,
    as_utf8,
    is_spreadsheet,
    read_bytes,
    texts_of,
    unpacked,
)

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
    job = Job(path, raw, settings, others)
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
            found += entries_of(_opened(job, mine), mine)
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


_OTHERS = ("mac-roman", "cp1250", "cp1251", "cp932", "gb18030", "cp949", "big5")
_ODD = re.compile(r"[^\s;,\t|]*[^\x00-\x7f][^\s;,\t|]*")
_SCRIPTS = ("LATIN", "GREEK", "CYRILLIC", "CJK", "HIRAGANA", "KATAKANA", "HANGUL")


def one_byte(raw: bytes, notes: Notes) -> str:
    """Choose the encoding in which alone its words look like words, or ask.

    Words do where their letters are of one script, no capital follows a small letter, and no sign
    stands between two letters.
    """
    every = _readings(raw)
    encoding = next(iter(every))
    words = {each: set(_ODD.findall(text)) for each, text in every.items()}
    fits = [each for each, found in words.items() if not any(map(_is_odd, found))]
    shown = {each: next(iter(_ODD.findall(text)), "")[:30] for each, text in every.items()}
    if len({every[each] for each in fits}) == 1:
        fit = fits[0]
        notes.choose("encoding", fit, "letters", shown=shown[fit])
        return str(notes.get("encoding"))
    odd = "".join(dict.fromkeys(mark for mark in every[encoding] if ord(mark) > 127))[:8]
    options = [Option(each, {"encoding": each}, "text", {"shown": shown[each]}) for each in every]
    return notes.ask("encoding", "encodings", options, default=encoding, odd=odd) or encoding


def _readings(raw: bytes) -> dict[str, str]:
    """Return what the bytes say in each encoding in which they say something."""
    found = {}
    for each in ("cp1252", "latin-1", *_OTHERS):
        try:
            text = raw.decode(each)
        except UnicodeDecodeError:
            continue
        if each != "latin-1" or "cp1252" not in found:
            found[each] = text
    return found


def _is_odd(word: str) -> bool:
    names = [unicodedata.name(mark, "").split(" ")[0] for mark in word if mark.isalpha()]
    scripts = {name for name in names if name in _SCRIPTS}
    japanese = scripts <= {"CJK", "HIRAGANA", "KATAKANA"}
    mixed = len(scripts) > 1 and not japanese
    inner = pairwise(word)
    capital = any(a.islower() and b.isupper() and not b.isascii() for a, b in inner)
    return mixed or capital or re.search(r"[^\W\d_][^\x00-\x7f\w]+[^\W\d_]", word) is not None


_MARKS = (",", ";", "\t", "|")
_LOOKED_AT = 200_000
_RUN = 3
_DATA = re.compile(r"[-+<>]?\s*\d.*")
_UNIT = re.compile(
    r"(?:mg/?dl|mmol/?l|min(utes)?|s(ec)?|h(ours)?|g|kcal|%|bpm|steps|\(.*\)|)", re.IGNORECASE
)
_UTF_16 = {codecs.BOM_UTF16_LE: "little end", codecs.BOM_UTF16_BE: "big end"}


def encoding_of(name: str, raw: bytes, notes: Notes) -> str | None:
    """Choose the encoding; None is UTF-8.

    Raises:
        MinerError: it is not text.
    """
    for bom, end in _UTF_16.items():
        if raw.startswith(bom):
            notes.choose("encoding", "utf-16", "byte_order_mark", end=end)
            return str(notes.get("encoding"))
    if b"\0" in raw[:_LOOKED_AT]:
        head = raw[:_LOOKED_AT]
        low, high = head[1::2].count(0), head[0::2].count(0)
        encoding = "utf-16-le" if low > 4 * high else "utf-16-be" if high > 4 * low else None
        if encoding is not None:
            notes.choose("encoding", encoding, "zero_bytes")
            return str(notes.get("encoding"))
    try:
        as_utf8(name, raw, None).decode("utf-8")
    except MinerError as error:
        if raw.startswith(SIGNATURES):
            raise
        if b"\0" in raw:
            raise MinerError("records.zero_bytes_no_text", file=name) from error
        return one_byte(raw, notes)
    notes.choose("encoding", None, "utf_8")
    given = notes.get("encoding")
    return None if given is None else str(given)


@dataclass(frozen=True, slots=True)
class Laid:
    """One way to split a file: the mark, the rows above the header, and how well it fits."""

    mark: str
    skip: int
    width: int
    share: float
    header: tuple[str, ...]


def layout_of(name: str, body: bytes, notes: Notes, only: str | None = None) -> str:
    """Choose the delimiter and the rows above the header; return the delimiter.

    Args:
        name: the file's name.
        body: its text as UTF-8.
        notes: gets the choices.
        only: the delimiter, where it is known.

    Raises:
        MinerError: no delimiter splits it into columns under a header.
    """
    text = body[:_LOOKED_AT].decode("utf-8", "ignore")
    above = int(typed("skip_rows", notes.answers.get("skip_rows", "0")))
    text = "".join(text.splitlines(keepends=True)[above:])
    given = notes.answers.get("delimiter")
    marks = [only] if only else [str(typed("delimiter", given))] if given else list(_MARKS)
    ways = [way for mark in marks if (way := _split(text, mark)) is not None]
    if not ways:
        raise MinerError("records.no_header", file=name)
    best = max(ways, key=lambda way: (round(way.share, 2), way.width))
    if only is None:
        mark = best.mark if best.mark != "," else None
        notes.choose("delimiter", mark, "cells", share=best.share, width=best.width)
    if best.skip or above:
        row = best.skip + above + 1
        notes.choose("skip_rows", row - 1, "header", row=row, shown=best.header[0])
    return best.mark


def _split(text: str, mark: str) -> Laid | None:
    records, begins, last = [], [], 0
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
    try:
        for record in reader:
            if any(cell.strip() for cell in record):
                records.append([cell.strip() for cell in record])
                begins.append(last)
            last = reader.line_num
    except csv.Error:
        return None
    later = records[len(records) // 2 :]
    width = Counter(map(len, later)).most_common(1)[0][0] if later else 0
    at = _first_data(records, later)
    if width < 2 or at is None:
        return None
    if at > 1 and all(_UNIT.fullmatch(cell) for cell in records[at - 1]):
        at -= 1
    header = records[at - 1] if at else []
    named = [cell for cell in header if cell]
    if len(header) < width - 1 or len(named) < 2 or _is_data(header, {0}):
        return None
    if any(re.fullmatch(r"[-+]?\d+(?:[.,]\d+)?", cell) for cell in named):
        return None
    share = sum(len(record) == width for record in records[at:]) / max(len(records) - at, 1)
    return Laid(mark, begins[at - 1], width, share, tuple(header))


def _first_data(records: list[list[str]], later: list[list[str]]) -> int | None:
    """Return where the rows begin whose cells hold digits where those of the later rows do."""
    most, widest = len(later) / 2, max(map(len, later), default=0)
    digits = {at for at in range(widest) if sum(_is_data(each, {at}) for each in later) > most}
    good = [len(record) > 1 and _is_data(record, digits) for record in records]
    for at, right in enumerate(good):
        if right and all(good[at : at + _RUN]):
            return at
    return None


def _is_data(record: list[str], where: set[int]) -> bool:
    return any(at < len(record) and _DATA.fullmatch(record[at]) for at in where)
