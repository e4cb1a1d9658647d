"""How a file is written: the encoding, the delimiter, and the rows above the header."""

from __future__ import annotations

import codecs
import csv
import io
import re
import unicodedata
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from miner.core.messages import MinerError
from miner.core.results.mapping import Option
from miner.records.read.text_file import SIGNATURES, as_utf8

if TYPE_CHECKING:
    from miner.records.propose.notes import Notes

_OTHERS = ("mac-roman", "cp1250", "cp1251", "cp932", "gb18030", "cp949", "big5")
_ODD = re.compile(r"[^\s;,\t|]*[^\x00-\x7f][^\s;,\t|]*")
_SCRIPTS = ("LATIN", "GREEK", "CYRILLIC", "CJK", "HIRAGANA", "KATAKANA", "HANGUL")


def one_byte(raw: bytes, notes: Notes) -> str:
    """Choose the encoding in which alone its words look like words, or ask.

    Words do where their letters are of one script, no capital follows a small letter, and no sign
    is between two letters.
    """
    every = _readings(raw)
    encoding = next(iter(every))
    words = {each: set(_ODD.findall(text)) for each, text in every.items()}
    fits = [each for each, found in words.items() if not any(map(_is_odd, found))]
    shown = {each: next(iter(_ODD.findall(text)), "")[:30] for each, text in every.items()}
    if len({every[each] for each in fits}) == 1:
        fit = fits[0]
        notes.choose("encoding", fit, "letters", shown=shown[fit])
        return str(notes.get("encoding"))
    odd = "".join(dict.fromkeys(mark for mark in every[encoding] if ord(mark) > 127))[:8]
    options = [Option(each, {"encoding": each}, "text", {"shown": shown[each]}) for each in every]
    return notes.ask("encoding", "encodings", options, default=encoding, odd=odd) or encoding


def _readings(raw: bytes) -> dict[str, str]:
    """Return what the bytes say in each encoding in which they say something."""
    found = {}
    for each in ("cp1252", "latin-1", *_OTHERS):
        try:
            text = raw.decode(each)
        except UnicodeDecodeError:
            continue
        if each != "latin-1" or "cp1252" not in found:
            found[each] = text
    return found


def _is_odd(word: str) -> bool:
    names = [unicodedata.name(mark, "").split(" ")[0] for mark in word if mark.isalpha()]
    scripts = {name for name in names if name in _SCRIPTS}
    japanese = scripts <= {"CJK", "HIRAGANA", "KATAKANA"}
    mixed = len(scripts) > 1 and not japanese
    inner = pairwise(word)
    capital = any(a.islower() and b.isupper() and not b.isascii() for a, b in inner)
    return mixed or capital or re.search(r"[^\W\d_][^\x00-\x7f\w]+[^\W\d_]", word) is not None


_MARKS = (",", ";", "\t", "|")
_LOOKED_AT = 200_000
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
    end = next((end for bom, end in _UTF_16.items() if raw.startswith(bom)), None)
    head = raw[:_LOOKED_AT]
    low, high = (head[at::2].count(0) if b"\0" in head else 0 for at in (1, 0))
    zeros = "utf-16-le" if low > 4 * high else "utf-16-be" if high > 4 * low else None
    if end is not None:
        notes.choose("encoding", "utf-16", "byte_order_mark", end=end)
    elif zeros is not None:
        notes.choose("encoding", zeros, "zero_bytes")
    else:
        try:
            as_utf8(name, raw, None).decode("utf-8")
        except MinerError as error:
            if raw.startswith(SIGNATURES):
                raise
            if b"\0" in raw:
                raise MinerError("records.zero_bytes_no_text", file=name) from error
            return one_byte(raw, notes)
        notes.choose("encoding", None, "utf_8")
    given = notes.get("encoding")
    return None if given is None else str(given)


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
    text = body[:_LOOKED_AT].decode("utf-8", "ignore")
    above = int(notes.given("skip_rows") or 0)
    text = "".join(text.splitlines(keepends=True)[above:])
    mark = only or notes.given("delimiter")
    marks = [str(mark)] if mark else list(_MARKS)
    ways = [way for mark in marks if (way := _split(text, mark)) is not None]
    if not ways:
        raise MinerError("records.no_header", file=name)
    best = max(ways, key=lambda way: (round(way.share, 2), way.width))
    if only is None:
        mark = best.mark if best.mark != "," else None
        notes.choose("delimiter", mark, "cells", share=best.share, width=best.width)
    if best.skip or above:
        row = best.skip + above + 1
        notes.choose("skip_rows", row - 1, "header", row=row, shown=best.header[0])
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
    later = records[len(records) // 2 :]
    width = Counter(map(len, later)).most_common(1)[0][0] if later else 0
    at = _first_data(records, later)
    if width < 2 or at is None:
        return None
    if at > 1 and all(_UNIT.fullmatch(cell) for cell in records[at - 1]):
        at -= 1
    header = records[at - 1] if at else []
    named = [cell for cell in header if cell]
    if len(header) < width - 1 or len(named) < 2 or _is_data(header, {0}):
        return None
    if any(re.fullmatch(r"[-+]?\d+(?:[.,]\d+)?", cell) for cell in named):
        return None
    share = sum(len(record) == width for record in records[at:]) / max(len(records) - at, 1)
    return Laid(mark, begins[at - 1], width, share, tuple(header))


def _first_data(records: list[list[str]], later: list[list[str]]) -> int | None:
    """Return where the rows begin whose cells hold digits where those of the later rows do."""
    most, widest = len(later) / 2, max(map(len, later), default=0)
    digits = {at for at in range(widest) if sum(_is_data(each, {at}) for each in later) > most}
    good = [len(record) > 1 and _is_data(record, digits) for record in records]
    for at, right in enumerate(good):
        if right and all(good[at : at + _RUN]):
            return at
    return None


def _is_data(record: list[str], where: set[int]) -> bool:
    return any(at < len(record) and _DATA.fullmatch(record[at]) for at in where)
