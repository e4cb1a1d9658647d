"""Looks through the XML of a sheet, piece by piece: what a reader of values does not tell.

That is: formulas whose value was not saved, errors, dates without a time of day, and cells so far
from the others that the space between them would fill the memory.

Source: ISO/IEC 29500-1 (Office Open XML), 18.3.1; OpenDocument 1.3, part 3, 9.
"""

from __future__ import annotations

import io
import posixpath
import re
import zipfile
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import IO, Any
from xml.parsers import expat
from xml.sax.saxutils import escape, quoteattr

MAX_AREA = 8_000_000
"""The most cells, empty ones among them, that are read of a sheet."""
_FAR_ROWS, _FAR_COLUMNS = 5_000, 100
_CHUNK = 1 << 20
_WORKBOOK, _CONTENT = "xl/workbook.xml", "content.xml"
_DATE_FORMATS = {14, 15, 16, 17}
_TIME_FORMATS = {18, 19, 20, 21, 22, 45, 46, 47}
_WORDS_OF_A_FORMAT = re.compile(r"\"[^\"]*\"|\[[^\]]*\]|\\.|_.|\*.|AM/PM|A/P", re.IGNORECASE)


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


@dataclass(slots=True)
class _Cell:
    sheet: str
    row: int
    column: int
    rows: int = 1
    columns: int = 1
    formula: bool = False
    stands: bool = False
    error: bool = False
    text: str = ""
    date: bool = False


def letters(column: int) -> str:
    """Return the letters of a column: 1 is A, 27 is AA."""
    text = ""
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(65 + rest) + text
    return text


def placed(reference: str) -> tuple[int, int]:
    """Return row and column of a reference such as AA12: 12 and 27; 0 and 0 where it is none."""
    found = re.fullmatch(r"([A-Za-z]{1,4})(\d{1,10})", reference)
    if found is None:
        return 0, 0
    column = 0
    for mark in found[1].upper():
        column = column * 26 + ord(mark) - 64
    return int(found[2]), column


def listed(raw: bytes) -> list[tuple[str, bool]]:
    """Return the names of the sheets that hold cells, and whether each is hidden.

    Raises:
        ValueError, KeyError, zipfile.BadZipFile, expat.ExpatError: it is damaged.
    """
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        _whole(archive)
        if _CONTENT in archive.namelist():
            return [(name, False) for name in _tables(archive)]
        sheets = _sheets(archive)
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
        if _CONTENT in archive.namelist():
            sums: dict[str, _Sum] = defaultdict(_Sum)
            for cell in _open_document(archive):
                sums[cell.sheet].add(cell)
            seen = sums[sheet].done()
            seen.cut |= any(each.done().cut for name, each in sums.items() if name != sheet)
            return seen
        path, dated = _sheets(archive)[sheet][0], _date_styles(archive)
        one = _Sum()
        if _worth_a_look(archive, path, dated):
            for cell in _office_open(archive, path, dated):
                one.add(cell)
        return one.done()


def without_far_cells(raw: bytes, sheet: str, seen: Seen) -> bytes:
    """Return a spreadsheet without the cells beyond the last row and column that is read."""
    made = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(raw)) as archive,
        zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as kept,
    ):
        path = _CONTENT if _CONTENT in archive.namelist() else _sheets(archive)[sheet][0]
        for item in archive.infolist():
            with archive.open(item) as inside, kept.open(item.filename, "w") as out:
                if item.filename == path:
                    _Trim(out, sheet, seen).run(inside)
                else:
                    while piece := inside.read(_CHUNK):
                        out.write(piece)
    return made.getvalue()


def _whole(archive: zipfile.ZipFile) -> None:
    """Read every part once: a part that unpacks to more than it says is damaged."""
    for item in archive.infolist():
        with archive.open(item) as inside:
            while inside.read(_CHUNK):
                pass


class _Sum:
    """Counts the cells of one sheet as they come, row by row."""

    def __init__(self) -> None:
        self.seen = Seen()
        self.columns: Counter[int] = Counter()
        self.last = self.furthest = self.widest = self.beyond = 0

    def add(self, cell: _Cell) -> None:
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
        if seen.rows * seen.columns > MAX_AREA:
            gaps = (a for a, b in pairwise(used) if b - a > _FAR_COLUMNS)
            seen.cut, seen.rows, seen.columns = True, self.last, next(gaps, max(used, default=0))
            seen.far = self.beyond + sum(self.columns[at] for at in used if at > seen.columns)
        return seen


def _parsed(stream: IO[bytes], start: Any, end: Any, text: Any) -> Iterator[None]:
    """Feed a parser piece by piece; a document type is refused, so that nothing expands."""
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler, parser.EndElementHandler = start, end
    parser.CharacterDataHandler = text

    def refuse(*_: Any) -> None:
        raise ValueError("a document type stands in it")

    parser.StartDoctypeDeclHandler = refuse
    while piece := stream.read(_CHUNK):
        parser.Parse(piece, False)
        yield
    parser.Parse(b"", True)
    yield


def _local(name: str) -> str:
    return name.rpartition(":")[2]


def _worth_a_look(archive: zipfile.ZipFile, path: str, dated: set[str]) -> bool:
    """Say whether anything may stand in a sheet that its values do not tell; fast."""
    styles = b"|".join(style.encode() for style in sorted(dated))
    odd = re.compile(
        rb"<(?:\w+:)?f[\s/>]|\bt=[\"']e[\"']|\br=[\"'][A-Za-z]{2,}\d"
        rb"|<(?:\w+:)?c(?! [^>]*\br=)[\s/>]"
        rb"|\br=[\"'][A-Za-z]+(?:[3-9]\d{5}|\d{7,})[\"']"
        + (rb"|\bs=[\"'](?:" + styles + rb")[\"']" if styles else b"")
    )
    tail = b""
    with archive.open(path) as inside:
        while piece := inside.read(_CHUNK):
            piece = tail + piece
            if odd.search(piece):
                return True
            tail = piece[piece.rfind(b"<") :][-1024:]
    return False


def _office_open(archive: zipfile.ZipFile, path: str, dated: set[str]) -> Iterator[_Cell]:
    found: list[_Cell] = []
    state: dict[str, Any] = {"row": 0, "column": 0, "inside": ""}

    def start(name: str, given: dict[str, str]) -> None:
        name = _local(name)
        if name == "row":
            state["row"] = int(given.get("r", state["row"] + 1))
            state["column"] = 0
        elif name == "c":
            row, column = placed(given.get("r", ""))
            state["row"] = row or state["row"]
            state["column"] = column or state["column"] + 1
            kind, style = given.get("t", "n"), given.get("s", "")
            cell = _Cell("", state["row"], state["column"], error=kind == "e")
            cell.date = style in dated and kind in ("n", "d")
            cell.stands = kind == "str"
            found.append(cell)
        elif name == "f" and found:
            found[-1].formula = True
        if name in ("c", "v", "is", "t"):
            state["inside"] = name

    def end(name: str) -> None:
        if _local(name) in ("v", "is", "t"):
            state["inside"] = ""

    def text(words: str) -> None:
        if state["inside"] in ("v", "is", "t") and found and words.strip():
            found[-1].stands = True
            if found[-1].error:
                found[-1].text = words.strip()[:20]

    with archive.open(path) as inside:
        for _ in _parsed(inside, start, end, text):
            yield from found[:-1]
            del found[:-1]
    yield from found


def _open_document(archive: zipfile.ZipFile) -> Iterator[_Cell]:
    found: list[_Cell] = []
    state: dict[str, Any] = {"sheet": "", "row": 0, "rows": 1, "column": 0, "open": False}

    def start(name: str, given: dict[str, str]) -> None:
        name = _local(name)
        plain = {_local(key): value for key, value in given.items()}
        if name == "table":
            state.update(sheet=plain.get("name", ""), row=0)
        elif name == "table-row":
            repeated = int(plain.get("number-rows-repeated", 1))
            state.update(row=state["row"] + 1, rows=repeated, column=0)
        elif name in ("table-cell", "covered-table-cell"):
            repeated = int(plain.get("number-columns-repeated", 1))
            cell = _Cell(state["sheet"], state["row"], state["column"] + 1, state["rows"], repeated)
            state["column"] += repeated
            kind = plain.get("value-type", "")
            cell.formula = bool(plain.get("formula"))
            given_text = kind == "string" and bool(plain.get("string-value"))
            cell.stands = given_text or kind not in ("", "string")
            cell.error = given.get("calcext:value-type") == "error"
            cell.date = kind == "date" and len(plain.get("date-value", "")) <= 10
            state["open"] = True
            found.append(cell)

    def end(name: str) -> None:
        name = _local(name)
        if name == "table-row":
            state["row"] += state["rows"] - 1
        elif name in ("table-cell", "covered-table-cell"):
            state["open"] = False

    def text(words: str) -> None:
        if state["open"] and found and words.strip():
            cell = found[-1]
            cell.stands = True
            cell.text = cell.text or words.strip()[:20]
            cell.error |= cell.formula and cell.text.startswith(("#", "Err:"))

    with archive.open(_CONTENT) as inside:
        for _ in _parsed(inside, start, end, text):
            yield from found[:-1]
            del found[:-1]
    yield from found


def _tables(archive: zipfile.ZipFile) -> list[str]:
    names: list[str] = []

    def start(name: str, given: dict[str, str]) -> None:
        if _local(name) == "table":
            names.append(next((given[key] for key in given if _local(key) == "name"), ""))

    with archive.open(_CONTENT) as inside:
        for _ in _parsed(inside, start, None, None):
            pass
    return names


def _sheets(archive: zipfile.ZipFile) -> dict[str, tuple[str, bool]]:
    """Return of each sheet of Office Open XML the part that holds it, and whether it is hidden."""
    found: list[tuple[str, str, bool]] = []
    targets: dict[str, str] = {}

    def book(name: str, given: dict[str, str]) -> None:
        if _local(name) == "sheet":
            key = next((key for key in given if _local(key) == "id" and ":" in key), "")
            hidden = given.get("state", "visible") != "visible"
            found.append((given.get("name", ""), given.get(key, ""), hidden))

    def related(name: str, given: dict[str, str]) -> None:
        if _local(name) == "Relationship":
            targets[given.get("Id", "")] = given.get("Target", "")

    for part, handler in ((_WORKBOOK, book), ("xl/_rels/workbook.xml.rels", related)):
        with archive.open(part) as inside:
            for _ in _parsed(inside, handler, None, None):
                pass
    paths = {key: posixpath.normpath(posixpath.join("/xl", to))[1:] for key, to in targets.items()}
    return {name: (paths[key], hidden) for name, key, hidden in found if key in paths}


def _date_styles(archive: zipfile.ZipFile) -> set[str]:
    """Return the numbers of the styles that show a date without a time of day."""
    if "xl/styles.xml" not in archive.namelist():
        return set()
    own: dict[int, str] = {}
    styles: list[int] = []
    state = {"inside": False}

    def start(name: str, given: dict[str, str]) -> None:
        name = _local(name)
        if name == "numFmt":
            own[int(given.get("numFmtId", 0))] = given.get("formatCode", "")
        elif name == "cellXfs":
            state["inside"] = True
        elif name == "xf" and state["inside"]:
            styles.append(int(given.get("numFmtId", 0)))

    def end(name: str) -> None:
        if _local(name) == "cellXfs":
            state["inside"] = False

    with archive.open("xl/styles.xml") as inside:
        for _ in _parsed(inside, start, end, None):
            pass
    return {str(at) for at, code in enumerate(styles) if _shows_a_date_alone(code, own.get(code))}


def _shows_a_date_alone(code: int, written: str | None) -> bool:
    if written is None:
        return code in _DATE_FORMATS
    marks = set(_WORDS_OF_A_FORMAT.sub("", written).casefold())
    return bool(marks & {"y", "d"}) and not marks & {"h", "s"}


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
        for _ in _parsed(stream, self.start, self.end, self.text):
            pass

    def start(self, name: str, given: dict[str, str]) -> None:
        """Begin an element, or pass it over with all that stands in it."""
        if self.skipped or self._beyond(_local(name), given):
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
        plain = {_local(key): value for key, value in given.items()}
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
