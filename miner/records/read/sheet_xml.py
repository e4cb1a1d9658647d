"""Goes through the XML of a spreadsheet piece by piece, in bounded memory: its sheets and cells.

Source: ISO/IEC 29500-1 (Office Open XML), 18.3.1; OpenDocument 1.3, part 3, 9.
"""

from __future__ import annotations

import posixpath
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO, Any
from xml.parsers import expat

CHUNK = 1 << 20
_WORKBOOK, _STYLES, CONTENT = "xl/workbook.xml", "xl/styles.xml", "content.xml"
_DATE_FORMATS = {14, 15, 16, 17}
_WORDS_OF_A_FORMAT = re.compile(r"\"[^\"]*\"|\[[^\]]*\]|\\.|_.|\*.|AM/PM|A/P", re.IGNORECASE)


@dataclass(slots=True)
class Cell:
    """One cell as it stands in the XML; rows and columns are counted from 1.

    Attributes:
        sheet: the name of its sheet, in OpenDocument.
        rows, columns: over how many it is repeated.
        formula: whether it has a formula.
        stands: whether a value stands in it.
        error: whether that is an error; ``text`` is then its words.
        date: whether it shows a date without a time of day.
    """

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


def parsed(stream: IO[bytes], start: Any, end: Any, text: Any) -> Iterator[None]:
    """Feed a parser piece by piece; a document type is refused, so that nothing expands."""
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler, parser.EndElementHandler = start, end
    parser.CharacterDataHandler = text

    def refuse(*_: Any) -> None:
        raise ValueError("document type")

    parser.StartDoctypeDeclHandler = refuse
    while piece := stream.read(CHUNK):
        parser.Parse(piece, False)
        yield
    parser.Parse(b"", True)
    yield


def local(name: str) -> str:
    """Return a name without the prefix of its namespace."""
    return name.rpartition(":")[2]


def worth_a_look(archive: zipfile.ZipFile, path: str, dated: set[str]) -> bool:
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
        while piece := inside.read(CHUNK):
            piece = tail + piece
            if odd.search(piece):
                return True
            tail = piece[piece.rfind(b"<") :][-1024:]
    return False


def office_open(archive: zipfile.ZipFile, path: str, dated: set[str]) -> Iterator[Cell]:
    """Yield the cells of one sheet of Office Open XML.

    Args:
        archive: the spreadsheet.
        path: the part of it that holds the sheet.
        dated: the styles that show a date without a time of day.
    """
    found: list[Cell] = []
    state: dict[str, Any] = {"row": 0, "column": 0, "inside": ""}

    def start(name: str, given: dict[str, str]) -> None:
        name = local(name)
        if name == "row":
            state["row"] = int(given.get("r", state["row"] + 1))
            state["column"] = 0
        elif name == "c":
            row, column = placed(given.get("r", ""))
            state["row"] = row or state["row"]
            state["column"] = column or state["column"] + 1
            kind, style = given.get("t", "n"), given.get("s", "")
            cell = Cell("", state["row"], state["column"], error=kind == "e")
            cell.date = style in dated and kind in ("n", "d")
            cell.stands = kind == "str"
            found.append(cell)
        elif name == "f" and found:
            found[-1].formula = True
        if name in ("c", "v", "is", "t"):
            state["inside"] = name

    def end(name: str) -> None:
        if local(name) in ("v", "is", "t"):
            state["inside"] = ""

    def text(words: str) -> None:
        if state["inside"] in ("v", "is", "t") and found and words.strip():
            found[-1].stands = True
            if found[-1].error:
                found[-1].text = words.strip()[:20]

    with archive.open(path) as inside:
        for _ in parsed(inside, start, end, text):
            yield from found[:-1]
            del found[:-1]
    yield from found


def open_document(archive: zipfile.ZipFile) -> Iterator[Cell]:
    """Yield the cells of all sheets of OpenDocument."""
    found: list[Cell] = []
    state: dict[str, Any] = {"sheet": "", "row": 0, "rows": 1, "column": 0, "open": False}

    def start(name: str, given: dict[str, str]) -> None:
        name = local(name)
        plain = {local(key): value for key, value in given.items()}
        if name == "table":
            state.update(sheet=plain.get("name", ""), row=0)
        elif name == "table-row":
            repeated = int(plain.get("number-rows-repeated", 1))
            state.update(row=state["row"] + 1, rows=repeated, column=0)
        elif name in ("table-cell", "covered-table-cell"):
            repeated = int(plain.get("number-columns-repeated", 1))
            cell = Cell(state["sheet"], state["row"], state["column"] + 1, state["rows"], repeated)
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
        name = local(name)
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

    with archive.open(CONTENT) as inside:
        for _ in parsed(inside, start, end, text):
            yield from found[:-1]
            del found[:-1]
    yield from found


def tables_of(archive: zipfile.ZipFile) -> list[str]:
    """Return the names of the sheets of OpenDocument."""
    names: list[str] = []

    def start(name: str, given: dict[str, str]) -> None:
        if local(name) == "table":
            names.append(next((given[key] for key in given if local(key) == "name"), ""))

    with archive.open(CONTENT) as inside:
        for _ in parsed(inside, start, None, None):
            pass
    return names


def sheets_of(archive: zipfile.ZipFile) -> dict[str, tuple[str, bool]]:
    """Return of each sheet of Office Open XML the part that holds it, and whether it is hidden."""
    found: list[tuple[str, str, bool]] = []
    targets: dict[str, str] = {}

    def book(name: str, given: dict[str, str]) -> None:
        if local(name) == "sheet":
            key = next((key for key in given if local(key) == "id" and ":" in key), "")
            hidden = given.get("state", "visible") != "visible"
            found.append((given.get("name", ""), given.get(key, ""), hidden))

    def related(name: str, given: dict[str, str]) -> None:
        if local(name) == "Relationship":
            targets[given.get("Id", "")] = given.get("Target", "")

    for part, handler in ((_WORKBOOK, book), ("xl/_rels/workbook.xml.rels", related)):
        with archive.open(part) as inside:
            for _ in parsed(inside, handler, None, None):
                pass
    paths = {key: posixpath.normpath(posixpath.join("/xl", to))[1:] for key, to in targets.items()}
    return {name: (paths[key], hidden) for name, key, hidden in found if key in paths}


def date_styles(archive: zipfile.ZipFile) -> set[str]:
    """Return the numbers of the styles that show a date without a time of day."""
    if _STYLES not in archive.namelist():
        return set()
    own: dict[int, str] = {}
    styles: list[int] = []
    state = {"inside": False}

    def start(name: str, given: dict[str, str]) -> None:
        name = local(name)
        if name == "numFmt":
            own[int(given.get("numFmtId", 0))] = given.get("formatCode", "")
        elif name == "cellXfs":
            state["inside"] = True
        elif name == "xf" and state["inside"]:
            styles.append(int(given.get("numFmtId", 0)))

    def end(name: str) -> None:
        if local(name) == "cellXfs":
            state["inside"] = False

    with archive.open(_STYLES) as inside:
        for _ in parsed(inside, start, end, None):
            pass
    return {str(at) for at, code in enumerate(styles) if _shows_a_date_alone(code, own.get(code))}


def _shows_a_date_alone(code: int, written: str | None) -> bool:
    if written is None:
        return code in _DATE_FORMATS
    marks = set(_WORDS_OF_A_FORMAT.sub("", written).casefold())
    return bool(marks & {"y", "d"}) and not marks & {"h", "s"}
