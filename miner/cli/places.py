"""Where the command line may write: new files, its own ones, empty folders."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from miner.core.files import require_no_link
from miner.core.messages import MinerError, message

ENDINGS = {"page": (".html", ".htm"), "calendar": (".ics",)}
CALENDAR = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//miner//"


def may_be_written(out: Path, kind: Literal["page", "calendar"] = "page") -> None:
    """Check that a page or a calendar may be written here: new, or in place of one of miner's.

    Raises:
        MinerError: it may not.
    """
    if out.suffix.lower() not in ENDINGS[kind]:
        raise MinerError(f"cli.not_a_{kind}", name=out.name)
    require_folder(out)
    if out.exists() and (out.is_dir() or _mark(kind).encode() not in out.read_bytes()[:4000]):
        raise MinerError(f"cli.not_our_{kind}", file=out)


def _mark(kind: str) -> str:
    if kind == "calendar":
        return CALENDAR
    from miner.render.pages import MARK

    return MARK


def require_picture(out: Path, forms: Sequence[str]) -> None:
    """Check that a picture can be written under this name.

    Raises:
        MinerError: its ending is not one of a picture, or there is no such folder.
    """
    if out.suffix.lower() not in forms:
        raise MinerError("cli.not_a_picture", name=out.name, forms=list(forms))
    require_folder(out)


def require_folder(out: Path) -> None:
    """Check that the folder of a file to be written is there.

    Raises:
        MinerError: it is not, or a link stands in the place of the file.
    """
    require_no_link(out)
    if not out.absolute().parent.is_dir():
        raise MinerError("cli.no_folder_for_file", file=out.parent)


def require_empty(folder: Path, code: str = "cli.folder_taken", mark: str = "") -> None:
    """Refuse a folder with anything in it, unless a file of that name is there.

    Raises:
        MinerError: it is a file, or not empty.
    """
    if folder.exists() and not folder.is_dir():
        raise MinerError(code, what=message("cli.a_file_has_this_name"), file=folder)
    if folder.is_dir() and any(folder.iterdir()) and not (mark and (folder / mark).is_file()):
        raise MinerError(code, what=message("cli.folder_not_empty"), file=folder)
