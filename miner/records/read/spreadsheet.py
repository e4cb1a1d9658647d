"""Reads one sheet of a spreadsheet as rows of text: .xlsx, .ods and .xls.

What stands there and cannot be read as a table is told: errors, formulas, merged cells, sheets.
"""

from __future__ import annotations

import io
import zipfile
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import pairwise, zip_longest
from typing import IO, TYPE_CHECKING, Any
from xml.parsers.expat import ExpatError

from python_calamine import CalamineError, CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum

from miner.core.messages import MinerError, Severity, closest
from miner.records.read.sheet_xml import (
    CHUNK,
    CONTENT,
    Cell,
    date_styles,
    letters,
    local,
    office_open,
    open_document,
    parsed,
    placed,
    sheets_of,
    tables_of,
    worth_a_look,
)
from miner.records.read.text_file import BROKEN, LARGEST_BYTES, OLD_SPREADSHEET, members, too_large

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
        far: cells beyond the last row or column that is read.
        rows, columns: the last row and column that is read.
        cut: whether what lies beyond has to be cut off before the sheet is read.
    """

    unsaved: Places = field(default_factory=Places)
    errors: Places = field(default_factory=Places)
    dates: set[tuple[int, int]] = field(default_factory=set)
    far: int = 0
    rows: int = 0
    columns: int = 0
    cut: bool = False


def listed(raw: bytes) -> list[tuple[str, bool]]:
    """Return the names of the sheets that hold cells, and whether each is hidden.

    Raises:
        ValueError, KeyError, zipfile.BadZipFile, expat.ExpatError: it is damaged.
    """
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        _whole(archive)
        if CONTENT in archive.namelist():
            return [(name, False) for name in tables_of(archive)]
        sheets = sheets_of(archive)
        return [(name, hidden) for name, (path, hidden) in sheets.items() if "chart" not in path]


def see(raw: bytes, sheet: str) -> SheetSeen:
    """Look through one sheet.

    Args:
        raw: the bytes of an Office Open XML or OpenDocument spreadsheet.
        sheet: its name.

    Raises:
        ValueError, KeyError, zipfile.BadZipFile, expat.ExpatError: it is damaged.
    """
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        _whole(archive)
        if CONTENT in archive.namelist():
            sums: dict[str, _Sum] = defaultdict(_Sum)
            for cell in open_document(archive):
                sums[cell.sheet].add(cell)
            seen = sums[sheet].done()
            seen.cut |= any(each.done().cut for name, each in sums.items() if name != sheet)
            return seen
        path, dated = sheets_of(archive)[sheet][0], date_styles(archive)
        one = _Sum()
        if worth_a_look(archive, path, dated):
            for cell in office_open(archive, path, dated):
                one.add(cell)
        return one.done()


def without_far_cells(raw: bytes, sheet: str, seen: SheetSeen) -> bytes:
    """Return a spreadsheet without the cells beyond the last row and column that is read."""
    made = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(raw)) as archive,
        zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as kept,
    ):
        path = CONTENT if CONTENT in archive.namelist() else sheets_of(archive)[sheet][0]
        for item in archive.infolist():
            with archive.open(item) as inside, kept.open(item.filename, "w") as out:
                if item.filename == path:
                    _Trim(out, sheet, seen).run(inside)
                else:
                    while piece := inside.read(CHUNK):
                        out.write(piece)
    return made.getvalue()


def _whole(archive: zipfile.ZipFile) -> None:
    """Read every part once: a part that unpacks to more than it says is damaged."""
    for item in archive.infolist():
        with archive.open(item) as inside:
            while inside.read(CHUNK):
                pass


class _Sum:
    """Counts the cells of one sheet as they come, row by row."""

    def __init__(self) -> None:
        self.seen = SheetSeen()
        self.columns: Counter[int] = Counter()
        self.last = self.furthest = self.widest = self.beyond = 0

    def add(self, cell: Cell) -> None:
        """Count one cell."""
        if not (cell.stands or cell.formula):
            return
        row, column = cell.row + cell.rows - 1, cell.column + cell.columns - 1
        self.furthest, self.widest = max(self.furthest, row), max(self.widest, column)
        if self.last and row - self.last > _FAR_ROWS:
            self.beyond += 1
            return
        self.last = max(self.last, row)
        self.columns[column] += 1
        if cell.error:
            self.seen.errors.put(cell.row, cell.column, cell.text)
        elif cell.formula and not cell.stands:
            self.seen.unsaved.put(cell.row, cell.column)
        elif cell.date:
            self.seen.dates.add((cell.row, cell.column))

    def done(self) -> SheetSeen:
        """Return what was seen; what lies far away is cut off where it has to be."""
        seen, used = self.seen, sorted(self.columns)
        seen.rows, seen.columns = self.furthest, self.widest
        cells = sum(self.columns.values()) + self.beyond
        if seen.rows * seen.columns > min(MAX_AREA, max(SMALL_AREA, EMPTY_TO_ONE * cells)):
            gaps = (a for a, b in pairwise(used) if b - a > _FAR_COLUMNS)
            seen.cut, seen.rows, seen.columns = True, self.last, next(gaps, max(used, default=0))
            seen.far = self.beyond + sum(self.columns[at] for at in used if at > seen.columns)
        return seen


class _Trim:
    """Writes the XML of a sheet again without the cells that lie beyond what is read."""

    def __init__(self, out: IO[bytes], sheet: str, seen: SheetSeen) -> None:
        from xml.sax.saxutils import escape, quoteattr  # loads what opens addresses

        self.escaped, self.quoted = escape, quoteattr
        self.out, self.sheet, self.seen = out, sheet, seen
        self.row = self.column = 0
        self.rows = 1
        self.mine = True
        self.skipped = 0

    def run(self, stream: IO[bytes]) -> None:
        """Copy a part."""
        self.out.write(b'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>')
        for _ in parsed(stream, self.start, self.end, self.text):
            pass

    def start(self, name: str, given: dict[str, str]) -> None:
        """Begin an element, or pass it over with all that stands in it."""
        if self.skipped or self._beyond(local(name), given):
            self.skipped += 1
            return
        told = "".join(f" {key}={self.quoted(value)}" for key, value in given.items())
        self.out.write(f"<{name}{told}>".encode())

    def end(self, name: str) -> None:
        """End an element."""
        if self.skipped:
            self.skipped -= 1
        else:
            self.out.write(f"</{name}>".encode())

    def text(self, words: str) -> None:
        """Copy text."""
        if not self.skipped:
            self.out.write(self.escaped(words).encode())

    def _beyond(self, name: str, given: dict[str, str]) -> bool:
        plain = {local(key): value for key, value in given.items()}
        if name == "table":
            self.mine, self.row, self.rows = plain.get("name", "") == self.sheet, 0, 1
        if name == "row":
            self.row, self.column = int(plain.get("r", self.row + 1)), 0
            return False
        if name == "c":
            row, column = placed(plain.get("r", ""))
            self.row, self.column = row or self.row, column or self.column + 1
            return self.row > self.seen.rows or self.column > self.seen.columns
        if name == "table-row":
            self.row, self.column = self.row + self.rows, 0
            self.rows = int(plain.get("number-rows-repeated", 1))
            return not self.mine or self.row > self.seen.rows
        if name in ("table-cell", "covered-table-cell"):
            self.column += int(plain.get("number-columns-repeated", 1))
            return self.column > self.seen.columns
        return False


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
        seen = SheetSeen() if old else see(raw, chosen)
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


def _tell_seen(name: str, seen: SheetSeen, findings: Findings) -> None:
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
