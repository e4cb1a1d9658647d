"""Opens a file whatever its kind: delimited text, a spreadsheet, JSON lines, or text in an archive.

Every kind but plain text is handed on as text with tabs, one line for each of its rows.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from pathlib import PurePath

from miner.records.archive import is_spreadsheet, unpacked
from miner.records.findings import Findings
from miner.records.json_rows import read_json_rows
from miner.records.sources import Source
from miner.records.spreadsheet import read_sheet
from miner.records.text_file import ARCHIVE, TextFile, find_header, open_text

JSON_LINES = (".jsonl", ".ndjson", ".json")


def open_file(
    name: str, raw: bytes, source: Source, findings: Findings
) -> tuple[TextFile | None, Source]:
    """Return the text of a mapped file and the mapping that reads it; None where nothing stands.

    Args:
        name: its name inside the client folder.
        raw: its bytes.
        source: the entry of ``sources.toml`` that maps it.
        findings: gets what stands in a spreadsheet and cannot be read.

    Raises:
        MinerError: it cannot be opened as what it is.
    """
    inner = name
    if is_spreadsheet(name, raw):
        rows = read_sheet(name, raw, source.part, source.decimal, findings)
        return _with_tabs(name, raw, rows, source)
    if raw.startswith(ARCHIVE):
        inner, raw = unpacked(name, raw, source.part)
    if PurePath(inner).suffix.casefold() in JSON_LINES:
        header, rows = read_json_rows(name, raw, source.encoding, source.decimal)
        body = _lines(rows)
        return (TextFile(name, raw, body, header, 1, 0) if header else None), _tabbed(source)
    text = open_text(
        name,
        raw,
        encoding=source.encoding,
        delimiter=source.delimiter,
        skip_rows=source.skip_rows,
    )
    return text, source


def _with_tabs(
    name: str, raw: bytes, rows: Iterable[Sequence[str]], source: Source
) -> tuple[TextFile | None, Source]:
    body = _lines(rows)
    return find_header(name, raw, body, delimiter="\t", skip_rows=source.skip_rows), _tabbed(source)


def _tabbed(source: Source) -> Source:
    return source.model_copy(update={"delimiter": "\t"})


def _lines(rows: Iterable[Sequence[str]]) -> bytes:
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, delimiter="\t", lineterminator="\n")
    for row in rows:
        writer.writerow(row if any(row) else ())
    return buffer.getvalue().encode("utf-8", "backslashreplace")
