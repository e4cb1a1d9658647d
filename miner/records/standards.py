"""Reads one JSON file of open-standard records into the streams it feeds, line by line."""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from miner.core.messages import MinerError, Severity
from miner.records.check.one_person import tell_several
from miner.records.read.fhir import read_observation
from miner.records.read.files import too_large
from miner.records.read.gathered import GLUCOSE_UNITS, NOT_KNOWN, Gathered, Told, inside, words
from miner.records.read.mhealth import is_data_point, read_data_point
from miner.records.read.sources import Source, canonical
from miner.records.read.table_file import RawTable
from miner.records.read.text_file import as_utf8, map_it

if TYPE_CHECKING:
    from miner.records.findings import Findings

DECODER = json.JSONDecoder(parse_float=str, parse_int=str, parse_constant=str)
BROKEN = object()
LARGEST_JSON_BYTES = 50_000_000
_SPACE = re.compile(r"[ \t\n\r]*")


def documents(name: str, text: str) -> Iterator[tuple[int, Any]]:
    """Yield the records of a file with their line numbers; BROKEN for a line that is not JSON.

    A record is a line of NDJSON, an element of a list, an entry of a Bundle, or the whole file.
    Numbers come as text, as they are.

    Args:
        name: the file's name inside the client folder.
        text: what is in it.

    Raises:
        MinerError: it is one document and not JSON.
    """
    try:
        whole = DECODER.decode(text)
    except RecursionError as error:
        raise MinerError("records.json_too_deep", file=name, row=1) from error
    except ValueError as error:
        if not _first_line_is_json(text):
            row = getattr(error, "lineno", 1)
            raise MinerError(
                "records.json_invalid", file=name, row=row, error=str(error)
            ) from error
        yield from _lines(text)
        return
    at = _SPACE.match(text).end()  # type: ignore[union-attr]
    if isinstance(whole, list):
        yield from zip(_starts(text, at), whole, strict=True)
    elif isinstance(whole, dict) and isinstance(whole.get("entry"), list):
        inner = [
            each.get("resource") if isinstance(each, dict) else each for each in whole["entry"]
        ]
        yield from zip(_starts(text, _place_of(text, at, "entry")), inner, strict=True)
    else:
        yield text.count("\n", 0, at) + 1, whole


def _first_line_is_json(text: str) -> bool:
    first = text.lstrip().partition("\n")[0]
    try:
        return isinstance(DECODER.decode(first), dict | list)
    except (ValueError, RecursionError):
        return False


def _lines(text: str) -> Iterator[tuple[int, Any]]:
    for number, line in enumerate(text.split("\n"), start=1):
        if not line.strip():
            continue
        try:
            yield number, DECODER.decode(line)
        except (ValueError, RecursionError):
            yield number, BROKEN


def _starts(text: str, at: int) -> Iterator[int]:
    """Yield the line in which each element of the list that begins at a place begins."""
    line, counted = 1, 0
    at = _skip(text, at + 1)
    while text[at] != "]":
        line, counted = line + text.count("\n", counted, at), at
        yield line
        at = _skip(text, DECODER.raw_decode(text, at)[1])
        if text[at] == ",":
            at = _skip(text, at + 1)


def _place_of(text: str, at: int, wanted: str) -> int:
    """Return where the value of the last key of that name in an object begins."""
    found, at = 0, _skip(text, at + 1)
    while text[at] != "}":
        key, end = DECODER.raw_decode(text, at)
        value = _skip(text, _skip(text, end) + 1)
        if key == wanted:
            found = value
        at = _skip(text, DECODER.raw_decode(text, value)[1])
        if text[at] == ",":
            at = _skip(text, at + 1)
    return found


def _skip(text: str, at: int) -> int:
    return _SPACE.match(text, at).end()  # type: ignore[union-attr]


_BROKEN_LINES: Told = (Severity.LEFT_OUT, "lines_not_json")


Tables = tuple[str, list[tuple[RawTable, Source]]]


def read_standard(name: str, raw: bytes, zone: str | None, findings: Findings) -> Tables | None:
    """Read a file of FHIR Observations, or of IEEE 1752.1 or Open mHealth data points.

    Args:
        name: the file's name inside the client folder.
        raw: its bytes.
        zone: the client's zone, or None.
        findings: gets what was not used.

    Returns:
        Whose records these are, where that is known, and the rows of each stream with the mapping
        that reads them; None, with a finding that stops, where they are of several people.

    Raises:
        MinerError: it is too large, not text, or not JSON.
    """
    if len(raw) > LARGEST_JSON_BYTES:
        raise too_large(name, len(raw), LARGEST_JSON_BYTES)
    text = as_utf8(name, raw, None).decode("utf-8")
    out = Gathered(name, zone)
    if not text.strip():
        return _tables(out, findings)
    seen = 0
    for row, value in documents(name, text):
        if value is BROKEN:
            out.leave(row, _BROKEN_LINES)
        else:
            seen += _read(value, row, out)
    if not seen:
        raise MinerError("records.nothing_of_a_standard", file=name, map_it=map_it(name))
    return _tables(out, findings)


def _read(value: Any, row: int, out: Gathered) -> bool:
    kind = words(value.get("resourceType")) if isinstance(value, dict) else ""
    if kind == "Observation":
        subject = value.get("subject")
        person = words(inside(subject, "reference")) or words(
            inside(subject, "identifier", "value")
        )
        out.about(row, person)
        read_observation(value, row, out)
    elif is_data_point(value):
        out.about(row, words(inside(value, "header", "user_id")))
        read_data_point(value, row, out)
    else:
        out.leave(row, NOT_KNOWN, kind or "no kind")
        return bool(kind)
    return True


def _tables(out: Gathered, findings: Findings) -> Tables | None:
    """Return the rows of each stream, and report what was not used."""
    for (severity, code), places in out.told.items():
        at = pd.DataFrame({"file": out.file, "row": [row for row, _ in places]})
        shown = [shown for _, shown in places]
        findings.rows(severity, code, at=at, shown=shown if any(map(str, shown)) else ())
    if len(out.people) > 1:
        row = max(min(rows) for rows in out.people.values())
        counts = {name: len(rows) for name, rows in out.people.items()}
        tell_several(out.file, row, "", counts, findings)
        return None
    tables = [(name, _text(name, rows)) for name, rows in sorted(out.rows.items())]
    tables += _joined(out.series)
    mapped = []
    for name, cells in tables:
        stream = "glucose" if name in GLUCOSE_UNITS.values() else name
        lines = cells.pop("row").astype("int64").to_numpy()
        source = canonical(out.file, stream, list(cells.columns), out.zone)
        mapped.append((RawTable(out.file, cells, np.asarray(lines)), source))
    return next(iter(out.people), ""), mapped


def _text(name: str, rows: list[dict[str, str]]) -> pd.DataFrame:
    cells = pd.DataFrame(_merged(rows) if name == "sleep" else rows).fillna("").astype("str")
    return cells.mask(cells == "")


def _joined(series: list[tuple[str, pd.DataFrame]]) -> list[tuple[str, pd.DataFrame]]:
    """Put the series of one unit together, numbers apart from words."""
    kinds: dict[tuple[str, bool], list[pd.DataFrame]] = defaultdict(list)
    for column, cells in series:
        kinds[(column, pd.api.types.is_numeric_dtype(cells[column]))].append(cells)
    return [(key[0], pd.concat(kinds[key], ignore_index=True)) for key in sorted(kinds)]


def _merged(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """Put the parts of one sleep, written one by one, into one row."""
    nights: dict[tuple[str, str], dict[str, str]] = {}
    for row in rows:
        night = nights.setdefault((row["start"], row["end"]), dict(row))
        for key, value in row.items():
            if key in night and night[key] != value and key not in ("row", "start", "end"):
                nights[(row["start"], f"{row['end']} ")] = dict(row)
                break
        else:
            night.update({key: value for key, value in row.items() if key not in night})
    return list(nights.values())
