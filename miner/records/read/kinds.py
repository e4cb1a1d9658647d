"""Opens a file whatever its kind: delimited text, a spreadsheet, JSON lines, or text in an archive.

Every kind but plain text is handed on as text with tabs, one line for each of its rows. Of JSON
lines each object is a row, its names the columns.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator, Sequence
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from miner.core.messages import MinerError
from miner.records.read.packed import ARCHIVE
from miner.records.read.spreadsheet import read_sheet
from miner.records.read.text_file import (
    TextFile,
    as_utf8,
    find_header,
    is_spreadsheet,
    open_text,
    unpacked,
)

if TYPE_CHECKING:
    from miner.records.findings import Findings
    from miner.records.read.sources import Source

_DECODER = json.JSONDecoder(parse_float=str, parse_int=str, parse_constant=str)
_DEEPEST = 8


def read_json_rows(
    name: str, raw: bytes, encoding: str | None, decimal: str = "."
) -> tuple[tuple[str, ...], list[Sequence[str]]]:
    """Return the columns of a file of JSON lines and one row of text a line.

    A name inside another object is written with a full stop between ("value.unit"), an element of
    a list with its number from 0.

    Args:
        name: the file's name inside the client folder.
        raw: its bytes.
        encoding: how it is encoded, or None for UTF-8.
        decimal: the sign to write numbers with.

    Raises:
        MinerError: it is not text, or a line is not one object.
    """
    objects = [dict(_flat(line, "")) for line in _objects(name, as_utf8(name, raw, encoding))]
    header = tuple(dict.fromkeys(key for each in objects for key in each))
    rows: list[Sequence[str]] = [
        [_cell(each.get(key), decimal) for key in header] for each in objects
    ]
    return header, rows


def _objects(name: str, body: bytes) -> Iterator[dict[str, Any]]:
    for number, line in enumerate(body.decode("utf-8").split("\n"), start=1):
        try:
            found = _DECODER.decode(line) if line.strip() else {}
        except (ValueError, RecursionError) as error:
            raise MinerError("records.json_line_invalid", file=name, row=number) from error
        if not isinstance(found, dict):
            raise MinerError("records.json_line_without_object", file=name, row=number)
        yield found


def _flat(value: Any, path: str, depth: int = 0) -> Iterator[tuple[str, Any]]:
    inner = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else None
    )
    if inner is None or depth > _DEEPEST:
        yield path, value if inner is None else None
        return
    for key, item in inner:
        yield from _flat(item, f"{path}.{key}" if path else str(key), depth + 1)


def _cell(value: Any, decimal: str) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    text = " ".join(str(value).split())
    return text.replace(".", decimal) if decimal != "." and _is_number(text) else text


def _is_number(text: str) -> bool:
    return text.count(".") == 1 and text.lstrip("-").replace(".", "").isdigit()


JSON_LINES = (".jsonl", ".ndjson", ".json")


def open_file(
    name: str, raw: bytes, source: Source, findings: Findings
) -> tuple[TextFile | None, Source]:
    """Return the text of a mapped file and the mapping that reads it; None where there is nothing.

    Args:
        name: its name inside the client folder.
        raw: its bytes.
        source: the entry of ``sources.toml`` that maps it.
        findings: gets what is in a spreadsheet and cannot be read.

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
        name, raw, encoding=source.encoding, delimiter=source.delimiter, skip_rows=source.skip_rows
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
