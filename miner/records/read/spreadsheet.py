"""Reads one sheet of a spreadsheet as rows of text: .xlsx, .ods and .xls.

What is there and cannot be read as a table is reported: errors, formulas, merged cells, sheets.
"""

from __future__ import annotations

import io
import shutil
import zipfile
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from html import escape
from itertools import pairwise, zip_longest
from typing import IO, TYPE_CHECKING, Any
from xml.parsers.expat import ExpatError

from python_calamine import CalamineError, CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum

from miner.core.messages import MinerError, Severity, closest
from miner.records.read.packed import (
    BROKEN,
    CONTENT,
    LARGEST_BYTES,
    OLD_SPREADSHEET,
    Cell,
    PlaceInXml,
    cells_of,
    date_styles,
    letters,
    located,
    sheets_of,
    worth_a_look,
)

if TYPE_CHECKING:
    from miner.records.findings import Findings

MAX_AREA = 8_000_000
"""The most cells, empty ones among them, that are read of a sheet."""
SMALL_AREA, EMPTY_TO_ONE = 200_000, 20
"""A larger area of which so little is filled ends where the far cells begin."""
_FAR_ROWS, _FAR_COLUMNS = 5_000, 100


@dataclass(slots=True)
class Places:
    """How many cells there are of a kind, where the first is, and the words in them."""

    count: int = 0
    row: int = 0
    columns: Counter[str] = field(default_factory=Counter)
    words: Counter[str] = field(default_factory=Counter)

    def put(self, row: int, column: int, word: str = "") -> None:
        """Count a cell."""
        self.row = self.row or row
        self.count += 1
        self.columns[letters(column)] += 1
        if word:
            self.words[word] += 1


@dataclass(slots=True)
class SheetSeen:
    """What was seen in a sheet; rows and columns are counted from 1.

    Attributes:
        unsaved: formulas without a value.
        errors: cells with an error in place of a value.
        dates: cells with a date and no time of day, (row, column).
        filled: how many cells of each column are filled.
        last: the last row before the far cells; ``beyond``: how many cells are further down.
        rows, columns: the last row and column that is read.
        far: cells beyond them.
        cut: whether what is beyond has to be cut off before the sheet is read.
    """

    unsaved: Places = field(default_factory=Places)
    errors: Places = field(default_factory=Places)
    dates: set[tuple[int, int]] = field(default_factory=set)
    filled: Counter[int] = field(default_factory=Counter)
    last: int = 0
    beyond: int = 0
    rows: int = 0
    columns: int = 0
    far: int = 0
    cut: bool = False

    def add(self, cell: Cell) -> None:
        """Count one cell; they come row by row."""
        if not (cell.stands or cell.formula):
            return
        row, column = cell.row + cell.rows - 1, cell.column + cell.columns - 1
        self.rows, self.columns = max(self.rows, row), max(self.columns, column)
        if self.last and row - self.last > _FAR_ROWS:
            self.beyond += 1
            return
        self.last = max(self.last, row)
        self.filled[column] += 1
        if cell.error:
            self.errors.put(cell.row, cell.column, cell.text)
        elif cell.formula and not cell.stands:
            self.unsaved.put(cell.row, cell.column)
        elif cell.date:
            self.dates.add((cell.row, cell.column))

    def close(self) -> None:
        """Decide, once every cell is counted, whether what is far away is cut off."""
        cells = self.filled.total() + self.beyond
        if self.rows * self.columns > min(MAX_AREA, max(SMALL_AREA, EMPTY_TO_ONE * cells)):
            used = sorted(self.filled)
            gaps = (a for a, b in pairwise(used) if b - a > _FAR_COLUMNS)
            self.cut, self.rows = True, self.last
            self.columns = next(gaps, max(used, default=0))
            self.far = self.beyond + sum(self.filled[at] for at in used if at > self.columns)


def see(raw: bytes, sheet: str) -> SheetSeen:
    """Look through one sheet.

    Args:
        raw: the bytes of an Office Open XML or OpenDocument spreadsheet.
        sheet: its name.

    Raises:
        ValueError, KeyError, zipfile.BadZipFile, expat.ExpatError: it is damaged.
    """
    seen: dict[str, SheetSeen] = defaultdict(SheetSeen)
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        path, dated = sheets_of(archive)[sheet], date_styles(archive)
        if path == CONTENT or worth_a_look(archive, path, dated):
            with archive.open(path) as part:
                for cell in cells_of(part, dated):
                    seen[cell.sheet if path == CONTENT else sheet].add(cell)
    chosen = seen[sheet]
    for each in seen.values():
        each.close()
    chosen.cut = any(each.cut for each in seen.values())
    return chosen


def without_far_cells(raw: bytes, sheet: str, seen: SheetSeen) -> bytes:
    """Return a spreadsheet without the cells beyond the last row and column that is read."""
    made = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(raw)) as archive,
        zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as kept,
    ):
        path = sheets_of(archive)[sheet]
        for item in archive.infolist():
            with archive.open(item) as part, kept.open(item.filename, "w") as out:
                if item.filename == path:
                    out.write(b'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>')
                    out.writelines(piece.encode() for piece in _near(part, sheet, seen))
                else:
                    shutil.copyfileobj(part, out)
    return made.getvalue()


def _near(part: IO[bytes], sheet: str, seen: SheetSeen) -> Iterator[str]:
    """Yield the XML of a part again, without the elements that are beyond what is read."""
    skipped = 0
    for kind, name, given, at in located(part):
        if skipped or (kind == "start" and _beyond(at, sheet, seen)):
            skipped += {"start": 1, "end": -1}.get(kind, 0)
        elif kind == "start":
            told = [f'{key}="{escape(value)}"' for key, value in given.items()]
            yield f"<{' '.join([name, *told])}>"
        else:
            yield escape(name, quote=False) if kind == "text" else f"</{name}>"


def _beyond(at: PlaceInXml, sheet: str, seen: SheetSeen) -> bool:
    """Say whether a row or a cell that begins is beyond what is read, or in another sheet."""
    if at.element == "table-row":
        return at.sheet != sheet or at.row > seen.rows
    row, column = at.row, at.column + at.columns - 1
    if at.element == "c":
        return row > seen.rows or column > seen.columns
    return at.element in ("table-cell", "covered-table-cell") and column > seen.columns


_DAMAGED = (*BROKEN, CalamineError, ExpatError, ValueError, KeyError)
_AN_HOUR = timedelta(hours=1)


def sheet_names(name: str, raw: bytes) -> list[str]:
    """Return the names of the sheets of a spreadsheet that are not hidden.

    Raises:
        MinerError: it cannot be read.
    """
    return [sheet for sheet, hidden in _sheets(name, raw).items() if not hidden]


def read_sheet(
    name: str, raw: bytes, part: str | None, decimal: str, findings: Findings
) -> list[Sequence[str]]:
    """Return the rows of one sheet, from its first; a date is written as ISO 8601.

    Args:
        name: the file's name inside the client folder.
        raw: its bytes.
        part: which sheet, or None where there is one that is not hidden.
        decimal: the sign to write numbers with.
        findings: gets what is in it and cannot be read.

    Raises:
        MinerError: it cannot be read, it is too large, or it is not clear which sheet is meant.
    """
    chosen = _chosen(name, _sheets(name, raw), part, findings)
    old = raw.startswith(OLD_SPREADSHEET)
    try:
        seen = SheetSeen() if old else see(raw, chosen)
        if seen.cut:
            raw = without_far_cells(raw, chosen, seen)
        book = CalamineWorkbook.from_filelike(io.BytesIO(raw))
        sheet = book.get_sheet_by_name(chosen)
        rows = sheet.to_python(skip_empty_area=False)
    except _DAMAGED as error:
        kind = type(error).__name__
        raise MinerError("records.spreadsheet_unreadable", file=name, error=kind) from error
    if old:
        findings.add(Severity.NOTE, "old_spreadsheet", file=name)
    _tell(name, seen, sheet.merged_cell_ranges or [], findings)
    dates = _dates_alone(rows) if old else seen.dates
    return [
        [_cell(value, decimal, (at, k) in dates) for k, value in enumerate(row, start=1)]
        for at, row in enumerate(rows, start=1)
    ]


def _chosen(name: str, sheets: dict[str, bool], part: str | None, findings: Findings) -> str:
    names = list(sheets)
    if part is not None and part not in names:
        close = closest(part, names)
        raise MinerError("records.no_sheet", file=name, part=part, names=names[:8], close=close)
    hidden = [each for each in names if sheets[each]]
    shown = [each for each in names if not sheets[each]]
    if part is None and len(shown) != 1:
        raise MinerError("records.several_sheets", file=name, count=len(shown), names=shown[:8])
    if part is None and hidden:
        values, count = {"names": hidden[:8]}, len(hidden)
        findings.add(Severity.NOTE, "hidden_sheet", file=name, count=count, values=values)
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


def _tell(
    name: str, seen: SheetSeen, merged: Sequence[tuple[tuple[int, int], ...]], findings: Findings
) -> None:
    kinds = {"formula_without_value": seen.unsaved, "error_in_cell": seen.errors}
    for code, places in kinds.items():
        if places.count:
            about = {"file": name, "row": places.row, "count": places.count}
            column = ", ".join(list(places.columns)[:6])
            examples = tuple(places.words)[:3]
            findings.add(Severity.QUESTION, code, column=column, examples=examples, **about)
    if seen.far:
        findings.add(Severity.LEFT_OUT, "far_cell", file=name, count=seen.far)
    tall = [first[0] + 1 for first, last in merged if last[0] > first[0]]
    if tall:
        row, count = min(tall), len(tall)
        findings.add(Severity.QUESTION, "merged_cells", file=name, row=row, count=count)


def _sheets(name: str, raw: bytes) -> dict[str, bool]:
    """Return the sheets with cells, in their order, and whether each is hidden."""
    try:
        if not raw.startswith(OLD_SPREADSHEET):
            with zipfile.ZipFile(io.BytesIO(raw)) as archive:
                size = sum(item.file_size for item in archive.infolist())
                if size > LARGEST_BYTES:
                    most = LARGEST_BYTES / 1e6
                    raise MinerError(
                        "records.file_too_large", file=name, size=size / 1e6, most=most
                    )
                if archive.testzip():  # a part that unpacks to more than it says is damaged
                    raise zipfile.BadZipFile
                if CONTENT in archive.namelist():
                    return dict.fromkeys(sheets_of(archive), False)
        book = CalamineWorkbook.from_filelike(io.BytesIO(raw))
    except _DAMAGED as error:
        kind = type(error).__name__
        raise MinerError("records.spreadsheet_unreadable", file=name, error=kind) from error
    charts = (SheetTypeEnum.ChartSheet, SheetTypeEnum.Vba, SheetTypeEnum.DialogSheet)
    return {
        each.name: each.visible is not SheetVisibleEnum.Visible
        for each in book.sheets_metadata
        if each.typ not in charts
    }
