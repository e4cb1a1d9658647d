"""What a reader of values does not tell of a sheet, and what has to be cut off before it reads.

That is: formulas whose value was not saved, errors, dates without a time of day, and cells so far
from the others that the space between them would fill the memory.
"""

from __future__ import annotations

import io
import zipfile
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from itertools import pairwise
from typing import IO
from xml.sax.saxutils import escape, quoteattr

from miner.records.sheet_xml import (
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
class Seen:
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


def see(raw: bytes, sheet: str) -> Seen:
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


def without_far_cells(raw: bytes, sheet: str, seen: Seen) -> bytes:
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
        self.seen = Seen()
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

    def done(self) -> Seen:
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

    def __init__(self, out: IO[bytes], sheet: str, seen: Seen) -> None:
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
        told = "".join(f" {key}={quoteattr(value)}" for key, value in given.items())
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
            self.out.write(escape(words).encode())

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
