"""Reads the bytes of one text file and finds its header, or says what is wrong with it.

The one text file of an archive is taken out of it.
"""

from __future__ import annotations

import codecs
import csv
import io
import zipfile
from dataclasses import dataclass
from pathlib import PurePosixPath
from shlex import quote

from miner.core.messages import Message, MinerError, closest, message
from miner.records.read.packed import ARCHIVE, BROKEN, LARGEST_BYTES, OLD_SPREADSHEET

_BOMS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_MAPPED = (ARCHIVE, OLD_SPREADSHEET)
_SIGNATURES = (
    (ARCHIVE, "sheet_or_archive"),
    (OLD_SPREADSHEET, "old_sheet"),
    (b"%PDF", "pdf"),
    (b"\x1f\x8b", "compressed"),
    (b"\x89PNG", "picture"),
    (b"SQLite format", "database"),
)
SIGNATURES = tuple(signature for signature, _ in _SIGNATURES)
"""How files begin that are no text."""
SEPARATORS = {",": "a comma", ";": "a semicolon", "\t": "a tab", "|": "a bar"}
_HEAD = 65_536


@dataclass(frozen=True, slots=True)
class TextFile:
    """One delimited file.

    Attributes:
        name: its name inside the client folder.
        raw: its bytes as they are on disk.
        body: the same as UTF-8 with LF line ends and no byte-order mark.
        header: the names of its columns, without blanks around them.
        first_row: the line number of the first row below the header.
        body_at: the offset of that row in ``body``.
    """

    name: str
    raw: bytes
    body: bytes
    header: tuple[str, ...]
    first_row: int
    body_at: int

    @property
    def lines(self) -> int:
        """How many lines are below the header."""
        lines = self.body.count(b"\n", self.body_at)
        return lines + (len(self.body) > self.body_at and not self.body.endswith(b"\n"))


def map_it(name: str) -> Message:
    """Return what to run so that ``sources.toml`` says how this file is read."""
    return message("records.map_it", file=quote(name))


def open_text(
    name: str, raw: bytes, *, encoding: str | None, delimiter: str, skip_rows: int
) -> TextFile | None:
    """Decode a file and find its header; None where nothing is in it.

    Raises:
        MinerError: it is not text, or not in that encoding, or ends before its header.
    """
    body = as_utf8(name, raw, encoding)
    return find_header(name, raw, body, delimiter=delimiter, skip_rows=skip_rows)


def find_header(
    name: str, raw: bytes, body: bytes, *, delimiter: str, skip_rows: int
) -> TextFile | None:
    """Find the header of a decoded file; None where nothing is in it.

    Raises:
        MinerError: it ends before its header.
    """
    if not body or body.isspace():
        return None
    start, line = _after_lines(body, skip_rows), skip_rows + 1
    if start is None:
        raise MinerError("records.ends_before_header", file=name, line=line, skip_rows=skip_rows)
    while body[start : start + 1] == b"\n":
        start, line = start + 1, line + 1
    head = io.StringIO(body[start : start + _HEAD].decode("utf-8", "ignore"), newline="")
    reader = csv.reader(head, delimiter=delimiter)
    try:
        header = tuple(cell.strip() for cell in next(reader))
    except (StopIteration, csv.Error):
        return None
    while header and not header[-1]:
        header = header[:-1]
    end = _after_lines(body, reader.line_num, start)
    body_at = len(body) if end is None else end
    return TextFile(name, raw, body, header, line + reader.line_num, body_at)


def as_utf8(name: str, raw: bytes, encoding: str | None) -> bytes:
    """Return a text as UTF-8 with LF line ends and no byte-order mark.

    Raises:
        MinerError: it is not text, or not in that encoding.
    """
    for signature, kind in _SIGNATURES:
        if raw.startswith(signature):
            raise MinerError(
                "records.not_text_to_map" if signature in _MAPPED else "records.not_text",
                file=name,
                kind=message(f"records.{kind}"),
                map_it=map_it(name),
            )
    for bom, known in _BOMS:
        if raw.startswith(bom) and (encoding is None or encoding.lower().startswith("utf")):
            raw, encoding = raw[len(bom) :], known
            break
    encoding = encoding or "utf-8"
    if b"\0" in raw and not encoding.lower().startswith(("utf-16", "utf_16", "utf-32")):
        raise MinerError("records.zero_bytes", file=name, map_it=map_it(name))
    body = _checked(name, raw, encoding)
    return body.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in body else body


def _checked(name: str, raw: bytes, encoding: str) -> bytes:
    try:
        if raw.isascii() and codecs.lookup(encoding).name == "utf-8":
            return raw
        text = raw.decode(encoding)
    except UnicodeDecodeError as error:
        seen = raw[error.start : error.start + 1]
        guess = seen.decode("cp1252", "replace")
        raise MinerError(
            "records.wrong_encoding",
            file=name,
            row=raw[: error.start].count(b"\n") + 1,
            start=error.start,
            encoding=encoding.upper(),
            guess=guess,
            map_it=map_it(name),
        ) from error
    except (UnicodeError, LookupError) as error:
        raise MinerError(
            "records.unknown_encoding", file=name, encoding=encoding.upper(), error=str(error)
        ) from error
    return raw if codecs.lookup(encoding).name == "utf-8" else text.encode("utf-8")


def _after_lines(body: bytes, lines: int, at: int = 0) -> int | None:
    for _ in range(lines):
        at = body.find(b"\n", at) + 1
        if at == 0:
            return None
    return at


_TEXTS = (".csv", ".tsv", ".txt", ".jsonl", ".ndjson", ".json")


def members(name: str, raw: bytes) -> list[zipfile.ZipInfo]:
    """Return what an archive holds.

    Raises:
        MinerError: it is damaged.
    """
    try:
        return zipfile.ZipFile(io.BytesIO(raw)).infolist()
    except (*BROKEN, ValueError) as error:
        raise _damaged(name, error) from error


def is_spreadsheet(name: str, raw: bytes) -> bool:
    """Say whether a file is a spreadsheet: Office Open XML, OpenDocument or an old one."""
    if not raw.startswith(ARCHIVE):
        return raw.startswith(OLD_SPREADSHEET)
    held = {item.filename for item in members(name, raw)}
    return "xl/workbook.xml" in held or {"mimetype", "content.xml"} <= held


def texts_of(name: str, raw: bytes) -> list[str]:
    """Return the names of the text files in an archive."""
    found = [item.filename for item in members(name, raw) if not item.is_dir()]
    shown = [each for each in found if not PurePosixPath(each).name.startswith((".", "__"))]
    shown = [each for each in shown if not each.startswith("__MACOSX")]
    return sorted(each for each in shown if PurePosixPath(each).suffix.casefold() in _TEXTS)


def unpacked(name: str, raw: bytes, part: str | None) -> tuple[str, bytes]:
    """Return the name and the bytes of the text file in an archive.

    Args:
        name: the archive's name inside the client folder.
        raw: its bytes.
        part: which file of it, or None where it holds one.

    Raises:
        MinerError: it is damaged, locked or too large, or it is not clear which file is meant.
    """
    texts = texts_of(name, raw)
    if part is not None and part not in texts:
        raise MinerError(
            "records.archive_without_part",
            file=name,
            part=part,
            names=_listed(texts),
            close=closest(part, texts),
        )
    if part is None and len(texts) != 1:
        raise MinerError(
            f"records.{'archive_of_several' if texts else 'archive_without_text'}",
            file=name,
            count=len(texts),
            names=_listed(texts),
        )
    chosen = part or texts[0]
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive, archive.open(chosen) as inside:
            content = inside.read(LARGEST_BYTES + 1)
    except (*BROKEN, ValueError, KeyError) as error:
        raise _damaged(name, error) from error
    if len(content) > LARGEST_BYTES:
        told = (item.file_size for item in members(name, raw) if item.filename == chosen)
        size, most = max(*told, len(content)) / 1e6, LARGEST_BYTES / 1e6
        raise MinerError("records.file_too_large", file=name, size=size, most=most)
    return chosen, content


def _listed(names: list[str], most: int = 6) -> str:
    shown = ", ".join(f"'{each}'" for each in names[:most])
    return (shown or "none") + (", ..." if len(names) > most else "")


def _damaged(name: str, error: Exception) -> MinerError:
    return MinerError("records.archive_damaged", file=name, error=error)
