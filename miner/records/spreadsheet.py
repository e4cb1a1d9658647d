"""Reads one sheet of a spreadsheet as rows of text."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

from miner.errors import MinerError, nearest
from miner.records.archive import members
from miner.records.text_file import LARGEST_BYTES, too_large

MOST_ROWS = 1_048_576
_MOST_COLUMNS = 16_384


def sheet_names(name: str, raw: bytes) -> list[str]:
    """Return the names of the sheets of a spreadsheet.

    Raises:
        MinerError: it cannot be read, or what reads it is not installed.
    """
    return [str(each) for each in _book(name, raw).sheetnames]


def read_sheet(name: str, raw: bytes, part: str | None, decimal: str) -> list[Sequence[str]]:
    """Return the rows of one sheet; a date is written as ISO 8601.

    Args:
        name: the file's name inside the client folder.
        raw: its bytes.
        part: which sheet, or None where there is one.
        decimal: the sign to write numbers with.

    Raises:
        MinerError: it cannot be read, it is too large, or it is not clear which sheet is meant.
    """
    book = _book(name, raw)
    names = [str(each) for each in book.sheetnames]
    if part is not None and part not in names:
        raise MinerError(
            f"there is no sheet '{part}'; the sheets are {', '.join(map(repr, names[:8]))}",
            "the name of a sheet under 'part'",
            nearest(part, names) or "Correct part in sources.toml.",
            file=name,
        )
    if part is None and len(names) != 1:
        raise MinerError(
            f"there are {len(names)} sheets: {', '.join(map(repr, names[:8]))}",
            "one sheet, or its name under 'part' in sources.toml",
            "Name the sheet that holds the records.",
            file=name,
        )
    try:
        return list(_rows(name, book[part or names[0]], decimal))
    except MinerError:
        raise
    except Exception as error:
        raise _unreadable(name, error) from error


def _rows(name: str, sheet: Any, decimal: str) -> Iterator[Sequence[str]]:
    if not hasattr(sheet, "reset_dimensions"):
        raise MinerError(
            "this sheet holds a chart, not rows", "a sheet with rows", "Name another.", file=name
        )
    sheet.reset_dimensions()
    for number, row in enumerate(sheet.iter_rows(values_only=True), start=1):
        if number > MOST_ROWS or len(row) > _MOST_COLUMNS:
            raise MinerError(
                "the sheet is larger than a spreadsheet can be",
                f"at most {MOST_ROWS} rows",
                "Save the sheet as CSV.",
                file=name,
            )
        yield [_cell(value, decimal) for value in row]


def _cell(value: Any, decimal: str) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        near = value + timedelta(milliseconds=500)  # a spreadsheet counts days in binary fractions
        return near.replace(microsecond=0).isoformat()
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, float):
        text = str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
        return text.replace(".", decimal)
    return " ".join(str(value).split())


def _book(name: str, raw: bytes) -> Any:
    size = sum(item.file_size for item in members(name, raw))
    if size > LARGEST_BYTES:
        raise too_large(name, size)
    try:
        from openpyxl import load_workbook
    except ImportError as error:
        raise MinerError(
            "this is a spreadsheet, and what reads it is not installed",
            "the optional part 'excel' of this program",
            "Install miner[excel], or save the sheet as CSV.",
            file=name,
        ) from error
    try:
        return load_workbook(io.BytesIO(raw), read_only=True, data_only=True, keep_links=False)
    except Exception as error:
        raise _unreadable(name, error) from error


def _unreadable(name: str, error: Exception) -> MinerError:
    return MinerError(
        f"the spreadsheet cannot be read ({type(error).__name__})",
        "a spreadsheet (.xlsx) that is whole and has no password",
        "Open it and save the sheet as CSV.",
        file=name,
    )
