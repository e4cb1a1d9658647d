"""Takes the one text file out of an archive."""

from __future__ import annotations

import io
import zipfile
import zlib
from lzma import LZMAError
from pathlib import PurePosixPath

from miner.core.errors import MinerError, closest
from miner.records.text_file import ARCHIVE, LARGEST_BYTES, OLD_SPREADSHEET, too_large

_TEXTS = (".csv", ".tsv", ".txt", ".jsonl", ".ndjson", ".json")
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
        raise too_large(name, max(_size(name, raw, chosen), len(content)))
    return chosen, content


def _size(name: str, raw: bytes, chosen: str) -> int:
    return max(item.file_size for item in members(name, raw) if item.filename == chosen)


def _listed(names: list[str], most: int = 6) -> str:
    shown = ", ".join(f"'{each}'" for each in names[:most])
    return (shown or "none") + (", ..." if len(names) > most else "")


def _damaged(name: str, error: Exception) -> MinerError:
    return MinerError("records.archive_damaged", file=name, error=error)
