"""Reads JSON lines as rows of text: one object a line, its names the columns."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any

from miner.core.errors import MinerError
from miner.records.text_file import as_utf8

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
