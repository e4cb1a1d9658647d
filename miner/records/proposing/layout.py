"""How a delimited file is laid out: its encoding, its delimiter, and the row of its header."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from dataclasses import dataclass

from miner.errors import MinerError
from miner.records.proposing.notes import Notes
from miner.records.text_file import SIGNATURES, as_utf8

MARKS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
_OTHERS = ("cp1250", "cp1251", "cp932", "gb18030", "cp949", "big5")
_HEAD = 200_000
_RUN = 3
_DATA = re.compile(r"[-+<>]?\s*\d.*")
_UNIT = re.compile(
    r"(?:mg/?dl|mmol/?l|min(utes)?|s(ec)?|h(ours)?|g|kcal|%|bpm|steps|\(.*\)|)", re.IGNORECASE
)
_UTF_16 = {codecs.BOM_UTF16_LE: "little end", codecs.BOM_UTF16_BE: "big end"}


def encoding_of(name: str, raw: bytes, notes: Notes) -> str | None:
    """Choose the encoding; None is UTF-8.

    Raises:
        MinerError: it is not text.
    """
    for bom, end in _UTF_16.items():
        if raw.startswith(bom):
            notes.choose("encoding", "utf-16", f"a byte-order mark of UTF-16 ({end} first)")
            return "utf-16"
    if b"\0" in raw[:_HEAD]:
        head = raw[:_HEAD]
        low, high = head[1::2].count(0), head[0::2].count(0)
        encoding = "utf-16-le" if low > 4 * high else "utf-16-be" if high > 4 * low else None
        if encoding is not None:
            notes.choose("encoding", encoding, "every other byte is zero, and there is no mark")
            return encoding
    try:
        as_utf8(name, raw, None).decode("utf-8")
    except MinerError as error:
        if raw.startswith(SIGNATURES):
            raise
        if b"\0" in raw:
            raise MinerError(
                "the file holds zero bytes, and it is not UTF-16: it is not text",
                "a table as text",
                "Export it again as CSV, or save it as CSV in the program that made it.",
                file=name,
            ) from error
        return _one_byte(raw, notes)
    mark = raw.startswith(codecs.BOM_UTF8)
    notes.choose("encoding", None, f"reads as UTF-8{', with a byte-order mark' if mark else ''}")
    return None


def _one_byte(raw: bytes, notes: Notes) -> str:
    encoding = "cp1252"
    try:
        text = raw.decode(encoding)
    except UnicodeDecodeError:
        encoding, text = "latin-1", raw.decode("latin-1")
    odd = "".join(dict.fromkeys(mark for mark in text if ord(mark) > 127))[:8]
    notes.choose("encoding", encoding, f"it is not UTF-8; read so, these marks appear: {odd}")
    options = [encoding, "mac-roman", *(each for each in _OTHERS if _reads(raw, each))]
    notes.leave(
        "encoding",
        f"others fit as well: see whether the words with {odd} look right",
        tuple(f'encoding = "{each}"' for each in options),
    )
    return encoding


def _reads(raw: bytes, encoding: str) -> bool:
    try:
        raw.decode(encoding)
    except UnicodeDecodeError:
        return False
    return True


@dataclass(frozen=True, slots=True)
class Laid:
    """One way to split a file: the mark, the rows above the header, and how well it fits."""

    mark: str
    skip: int
    width: int
    share: float
    header: tuple[str, ...]


def layout_of(name: str, body: bytes, notes: Notes, only: str | None = None) -> str:
    """Choose the delimiter and the rows above the header; return the delimiter.

    Args:
        name: the file's name.
        body: its text as UTF-8.
        notes: gets the choices.
        only: the delimiter, where it is known.

    Raises:
        MinerError: no delimiter splits it into columns under a header.
    """
    text = body[:_HEAD].decode("utf-8", "ignore")
    marks = [only] if only else list(MARKS)
    ways = [way for mark in marks if (way := _split(text, mark)) is not None]
    if not ways:
        raise MinerError(
            "no header with two or more columns, and rows under it, was found",
            "a table with the names of its columns in one row, and no blank name among them",
            "Write a row of names above the records, or export them as a table.",
            file=name,
        )
    best = max(ways, key=lambda way: (round(way.share, 2), way.width))
    if only is None:
        told = f"each of {best.share:.0%} of the rows has {best.width} cells that way"
        notes.choose("delimiter", best.mark if best.mark != "," else None, told)
    if best.skip:
        told = f"the header ('{best.header[0]}', ...) stands in row {best.skip + 1}"
        notes.choose("skip_rows", best.skip, told)
    return best.mark


def _split(text: str, mark: str) -> Laid | None:
    records, begins, last = [], [], 0
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
    try:
        for record in reader:
            if any(cell.strip() for cell in record):
                records.append([cell.strip() for cell in record])
                begins.append(last)
            last = reader.line_num
    except csv.Error:
        return None
    later = [len(record) for record in records[len(records) // 2 :]]
    width = Counter(later).most_common(1)[0][0] if later else 0
    at = _first_data(records, width)
    if width < 2 or at is None:
        return None
    if at > 1 and all(_UNIT.fullmatch(cell) for cell in records[at - 1]):
        at -= 1
    header = records[at - 1] if at else []
    named = [cell for cell in header if cell]
    if not width - 1 <= len(header) <= width or len(named) < 2 or _is_data(header, {0}):
        return None
    if any(re.fullmatch(r"[-+]?\d+(?:[.,]\d+)?", cell) for cell in named):
        return None
    share = sum(len(record) == width for record in records[at:]) / max(len(records) - at, 1)
    return Laid(mark, begins[at - 1], width, share, tuple(header))


def _first_data(records: list[list[str]], width: int) -> int | None:
    """Return where the rows begin whose cells hold digits where those of the later rows do."""
    later = [record for record in records[len(records) // 2 :] if len(record) == width]
    most = len(later) / 2
    digits = {at for at in range(width) if sum(_is_data(each, {at}) for each in later) > most}
    if not digits:
        return None
    good = [len(record) == width and _is_data(record, digits) for record in records]
    for at, right in enumerate(good):
        if right and all(good[at : at + _RUN]):
            return at
    return None


def _is_data(record: list[str], where: set[int]) -> bool:
    return any(at < len(record) and _DATA.fullmatch(record[at]) for at in where)
