"""Takes a JSON file apart into its records, each with the line it begins in."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

from miner.core.errors import MinerError

DECODER = json.JSONDecoder(parse_float=str, parse_int=str, parse_constant=str)
BROKEN = object()
LARGEST_JSON_BYTES = 50_000_000
_SPACE = re.compile(r"[ \t\n\r]*")


def documents(name: str, text: str) -> Iterator[tuple[int, Any]]:
    """Yield the records of a file with their line numbers; BROKEN for a line that is not JSON.

    A record is a line of NDJSON, an element of a list, an entry of a Bundle, or the whole file.
    Numbers come as text, as they stand.

    Args:
        name: the file's name inside the client folder.
        text: what stands in it.

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
