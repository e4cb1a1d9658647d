"""Reads one sheet of a spreadsheet as rows of text: .xlsx, .ods and .xls."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import zip_longest
from typing import Any
from xml.parsers.expat import ExpatError

from python_calamine import CalamineError, CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum

from miner.core.errors import MinerError, closest
from miner.core.results import Severity
from miner.records.archive import BROKEN, members
from miner.records.findings import Findings
from miner.records.sheet_seen import Places, Seen, listed, see, without_far_cells
from miner.records.text_file import LARGEST_BYTES, OLD_SPREADSHEET, too_large

_DAMAGED = (*BROKEN, CalamineError, ExpatError, ValueError, KeyError)
_AN_HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet by name, and whether it is hidden."""

    name: str
    hidden: bool


def sheet_names(name: str, raw: bytes) -> list[str]:
    """Return the names of the sheets of a spreadsheet that are not hidden.

    Raises:
        MinerError: it cannot be read.
    """
    return [each.name for each in _sheets(name, raw) if not each.hidden]


def read_sheet(
    name: str, raw: bytes, part: str | None, decimal: str, findings: Findings
) -> list[Sequence[str]]:
    """Return the rows of one sheet, from its first; a date is written as ISO 8601.

    Args:
        name: the file's name inside the client folder.
        raw: its bytes.
        part: which sheet, or None where there is one that is not hidden.
        decimal: the sign to write numbers with.
        findings: gets what stands in it and cannot be read.

    Raises:
        MinerError: it cannot be read, it is too large, or it is not clear which sheet is meant.
    """
    sheets = _sheets(name, raw)
    chosen = _chosen(name, sheets, part, findings)
    old = raw.startswith(OLD_SPREADSHEET)
    try:
        seen = Seen() if old else see(raw, chosen)
        if seen.cut:
            raw = without_far_cells(raw, chosen, seen)
        book = CalamineWorkbook.from_filelike(io.BytesIO(raw))
        sheet = book.get_sheet_by_name(chosen)
        rows = sheet.to_python(skip_empty_area=False)
    except MinerError:
        raise
    except _DAMAGED as error:
        raise _unreadable(name, error) from error
    _tell_seen(name, seen, findings)
    if old:
        _tell_old(name, findings)
    _tell_merged(name, sheet.merged_cell_ranges or [], findings)
    dates = _dates_alone(rows) if old else seen.dates
    return [
        [_cell(value, decimal, (at, k) in dates) for k, value in enumerate(row, start=1)]
        for at, row in enumerate(rows, start=1)
    ]


def _chosen(name: str, sheets: list[Sheet], part: str | None, findings: Findings) -> str:
    names = [each.name for each in sheets]
    if part is not None and part not in names:
        close = closest(part, names)
        raise MinerError("records.no_sheet", file=name, part=part, names=names[:8], close=close)
    shown = [each.name for each in sheets if not each.hidden]
    if part is None and len(shown) != 1:
        raise MinerError("records.several_sheets", file=name, count=len(shown), names=shown[:8])
    hidden = [each.name for each in sheets if each.hidden]
    if part is None and hidden:
        findings.add(
            Severity.NOTE,
            "hidden_sheet",
            file=name,
            count=len(hidden),
            values={"names": hidden[:8]},
        )
    return part or shown[0]


def _cell(value: Any, decimal: str, date_alone: bool) -> str:
    if isinstance(value, datetime):
        near = value + timedelta(milliseconds=500)  # a spreadsheet counts days in binary fractions
        text = near.replace(microsecond=0).isoformat()
        return text[:10] if date_alone else text
    if isinstance(value, date):
        return value.isoformat() if date_alone else f"{value.isoformat()}T00:00:00"
    if isinstance(value, time):
        return value.isoformat()
    if isinstance(value, timedelta):
        minutes, seconds = divmod(round(value.total_seconds()), 60)
        return f"{minutes // 60}:{minutes % 60:02d}:{seconds:02d}"
    if isinstance(value, float):
        text = str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
        return text.replace(".", decimal)
    return " ".join(str(value).split())


def _dates_alone(rows: Sequence[Sequence[Any]]) -> set[tuple[int, int]]:
    """Return which midnights of an old sheet are dates alone: no time of the column is near.

    Its reader does not say how a cell is shown. Near is within an hour, above it or below.
    """
    found = set()
    for column, cells in enumerate(zip_longest(*rows), start=1):
        dates = [(at, each) for at, each in enumerate(cells, start=1) if isinstance(each, date)]
        for place, (at, value) in enumerate(dates):
            if not isinstance(value, datetime):
                midnight = datetime(value.year, value.month, value.day)
                beside = [each for _, each in dates[max(place - 1, 0) : place + 2]]
                timed = [each for each in beside if isinstance(each, datetime)]
                if not any(abs(each - midnight) <= _AN_HOUR for each in timed):
                    found.add((at, column))
    return found


def _tell_seen(name: str, seen: Seen, findings: Findings) -> None:
    _tell_places(name, seen.unsaved, "formula_without_value", findings)
    _tell_places(name, seen.errors, "error_in_cell", findings)
    if seen.far:
        findings.add(Severity.LEFT_OUT, "far_cell", file=name, count=seen.far)


def _tell_places(name: str, places: Places, code: str, findings: Findings) -> None:
    if places.count:
        findings.add(
            Severity.QUESTION,
            code,
            file=name,
            row=places.row,
            count=places.count,
            column=", ".join(list(places.columns)[:6]),
            examples=tuple(places.words)[:3],
        )


def _tell_old(name: str, findings: Findings) -> None:
    findings.add(Severity.NOTE, "old_spreadsheet", file=name)


def _tell_merged(
    name: str, ranges: Sequence[tuple[tuple[int, int], tuple[int, int]]], findings: Findings
) -> None:
    tall = [first for first, last in ranges if last[0] > first[0]]
    if tall:
        findings.add(
            Severity.QUESTION,
            "merged_cells",
            file=name,
            row=min(first[0] for first in tall) + 1,
            count=len(tall),
        )


def _sheets(name: str, raw: bytes) -> list[Sheet]:
    """Return the sheets with cells, in their order."""
    try:
        if not raw.startswith(OLD_SPREADSHEET):
            size = sum(item.file_size for item in members(name, raw))
            if size > LARGEST_BYTES:
                raise too_large(name, size)
            return [Sheet(each, hidden) for each, hidden in listed(raw)]
        book = CalamineWorkbook.from_filelike(io.BytesIO(raw))
    except MinerError:
        raise
    except _DAMAGED as error:
        raise _unreadable(name, error) from error
    charts = (SheetTypeEnum.ChartSheet, SheetTypeEnum.Vba, SheetTypeEnum.DialogSheet)
    return [
        Sheet(each.name, each.visible is not SheetVisibleEnum.Visible)
        for each in book.sheets_metadata
        if each.typ not in charts
    ]


def _unreadable(name: str, error: Exception) -> MinerError:
    return MinerError("records.spreadsheet_unreadable", file=name, error=type(error).__name__)
