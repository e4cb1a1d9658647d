"""What is packed: how archives and spreadsheets begin and break, and the XML inside spreadsheets.

The XML is gone through piece by piece, in bounded memory. Source: ISO/IEC 29500-1 (Office Open
XML), 18.3.1; OpenDocument 1.3, part 3, 9.
"""

from __future__ import annotations

import posixpath
import re
import zipfile
import zlib
from collections.abc import Container, Iterator
from dataclasses import dataclass
from lzma import LZMAError
from typing import IO
from xml.parsers import expat

ARCHIVE, OLD_SPREADSHEET = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
LARGEST_BYTES = 200_000_000
"""The largest file read: about eight million readings, some 3 GB of memory while it is read."""
BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    LZMAError,
    NotImplementedError,
    RuntimeError,
    EOFError,
    OSError,
)
"""What reading a damaged archive raises."""
CHUNK = 1 << 20
CONTENT = "content.xml"
_STYLES = "xl/styles.xml"
_CELLS = ("c", "table-cell", "covered-table-cell")
_DATE_FORMATS = {14, 15, 16, 17}
_WORDS_OF_A_FORMAT = re.compile(r"\"[^\"]*\"|\[[^\]]*\]|\\.|_.|\*.|AM/PM|A/P", re.IGNORECASE)


@dataclass(slots=True)
class PlaceInXml:
    """Where an element begins, by its name without a prefix; rows and columns count from 1.

    Attributes:
        sheet: the name of its sheet, in OpenDocument.
        rows, columns: over how many it is repeated.
    """

    element: str = ""
    sheet: str = ""
    row: int = 0
    column: int = 0
    rows: int = 1
    columns: int = 1


@dataclass(slots=True)
class Cell(PlaceInXml):
    """One cell as it is in the XML.

    Attributes:
        formula: whether it has a formula.
        stands: whether a value is in it.
        error: whether that is an error; ``text`` is then its words.
        date: whether it shows a date without a time of day.
    """

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


def events(part: IO[bytes]) -> Iterator[tuple[str, str, dict[str, str]]]:
    """Yield the elements and texts of a part: "start" with a name and attributes, "end", "text".

    Raises:
        ValueError: it has a document type; so nothing expands.
    """
    found: list[tuple[str, str, dict[str, str]]] = []

    def refuse(*_: object) -> None:
        raise ValueError("document type")

    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler = lambda name, given: found.append(("start", name, given))
    parser.EndElementHandler = lambda name: found.append(("end", name, {}))
    parser.CharacterDataHandler = lambda words: found.append(("text", words, {}))
    parser.StartDoctypeDeclHandler = refuse
    while piece := part.read(CHUNK):
        parser.Parse(piece, False)
        yield from found
        found.clear()
    parser.Parse(b"", True)
    yield from found


def local(name: str) -> str:
    """Return a name without the prefix of its namespace."""
    return name.rpartition(":")[2]


def located(part: IO[bytes]) -> Iterator[tuple[str, str, dict[str, str], PlaceInXml]]:
    """Yield what :func:`events` does, each with the place of the row or cell it is in."""
    at = PlaceInXml()
    for kind, name, given in events(part):
        if kind == "start":
            at.element = local(name)
            plain = {local(key): value for key, value in given.items()}
            if at.element == "table":
                at = PlaceInXml(at.element, plain.get("name", ""))
            elif at.element == "table-row":
                at.row, at.rows = at.row + at.rows, int(plain.get("number-rows-repeated", 1))
                at.column, at.columns = 0, 1
            elif at.element in ("table-cell", "covered-table-cell"):
                at.column += at.columns
                at.columns = int(plain.get("number-columns-repeated", 1))
            elif at.element == "row":
                at.row, at.column = int(plain.get("r", at.row + 1)), 0
            elif at.element == "c":
                row, column = placed(plain.get("r", ""))
                at.row, at.column = row or at.row, column or at.column + 1
        yield kind, name, given, at


def cells_of(part: IO[bytes], dated: Container[str] = ()) -> Iterator[Cell]:
    """Yield the cells of a sheet of Office Open XML, or of all sheets of OpenDocument.

    Args:
        part: the part that holds them.
        dated: the styles of Office Open XML that show a date without a time of day.
    """
    cell, in_formula = None, False
    for kind, name, given, at in located(part):
        if kind == "text" and cell and not in_formula and name.strip():
            cell.stands, cell.text = True, cell.text or name.strip()[:20]
            if cell.element != "c":
                cell.error |= cell.formula and cell.text.startswith(("#", "Err:"))
        elif kind == "end" and cell:
            in_formula = False
            if local(name) in _CELLS:
                yield cell
                cell = None
        elif kind == "start" and at.element in _CELLS:
            cell = Cell(at.element, at.sheet, at.row, at.column, at.rows, at.columns)
            plain = {local(key): value for key, value in given.items()}
            if at.element == "c":
                type_ = plain.get("t", "n")
                cell.stands, cell.error = type_ == "str", type_ == "e"
                cell.date = plain.get("s", "") in dated and type_ in ("n", "d")
            else:
                type_ = plain.get("value-type", "")
                cell.formula = bool(plain.get("formula"))
                cell.stands = bool(plain.get("string-value")) or type_ not in ("", "string")
                cell.error = given.get("calcext:value-type") == "error"
                cell.date = type_ == "date" and len(plain.get("date-value", "")) <= 10
        elif kind == "start" and at.element == "f" and cell:
            cell.formula = in_formula = True


def worth_a_look(archive: zipfile.ZipFile, path: str, dated: set[str]) -> bool:
    """Say quickly whether a sheet may have more in it than its values show."""
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


def sheets_of(archive: zipfile.ZipFile) -> dict[str, str]:
    """Return the names of the sheets, each with the part that holds it."""
    if CONTENT in archive.namelist():
        with archive.open(CONTENT) as part:
            places = (at for kind, _, _, at in located(part) if kind == "start")
            return {at.sheet: CONTENT for at in places if at.element == "table"}
    found: dict[str, str] = {}
    targets: dict[str, str] = {}
    with archive.open("xl/_rels/workbook.xml.rels") as part:
        for _, name, given in events(part):
            if local(name) == "Relationship" and given:
                path = posixpath.join("/xl", given.get("Target", ""))
                targets[given.get("Id", "")] = posixpath.normpath(path)[1:]
    with archive.open("xl/workbook.xml") as part:
        for _, name, given in events(part):
            if local(name) == "sheet" and given:
                key = next((key for key in given if local(key) == "id" and ":" in key), "")
                found[given.get("name", "")] = targets.get(given.get(key, ""), "")
    return {name: path for name, path in found.items() if path}


def date_styles(archive: zipfile.ZipFile) -> set[str]:
    """Return the numbers of the styles that show a date without a time of day."""
    if _STYLES not in archive.namelist():
        return set()
    own: dict[int, str] = {}
    styles: list[int] = []
    inside = False
    with archive.open(_STYLES) as part:
        for kind, name, given in events(part):
            name = local(name)
            if name == "cellXfs":
                inside = kind == "start"
            elif kind == "start" and name == "numFmt":
                own[int(given.get("numFmtId", 0))] = given.get("formatCode", "")
            elif kind == "start" and name == "xf" and inside:
                styles.append(int(given.get("numFmtId", 0)))
    return {str(at) for at, code in enumerate(styles) if _shows_a_date_alone(code, own.get(code))}


def _shows_a_date_alone(code: int, written: str | None) -> bool:
    if written is None:
        return code in _DATE_FORMATS
    marks = set(_WORDS_OF_A_FORMAT.sub("", written).casefold())
    return bool(marks & {"y", "d"}) and not marks & {"h", "s"}
