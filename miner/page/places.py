"""Names, paths and addresses: what came from outside is confined to the practice folder."""

from __future__ import annotations

import os
import re
from pathlib import Path, PurePath, PureWindowsPath
from typing import Any
from urllib.parse import quote

from miner.core.files import RULES, SHARED
from miner.core.messages import MinerError, message

LONGEST_CODE, LONGEST_NAME = 40, 120
WAITING = ".waiting"
GOING = ".miner-going-"
LEDGER, TICKS = "ledger.jsonl", "ticks-noted.csv"
OWN_FILES = (
    "client.toml",
    "practice.toml",
    "sources.toml",
    "sources.toml.before",
    LEDGER,
    "corrections.csv",
    "notes.md",
    TICKS,
)
_CODE = re.compile(r"[^\W_][\w-]*")
_UNUSUAL = re.compile(r"[^\w .()+,&=@-]")
_PORTS = (f"{kind}{k}" for kind in ("com", "lpt") for k in range(10))
_DEVICES = {"con", "prn", "aux", "nul", *_PORTS}


class Missing(MinerError):  # noqa: N818 - it names what is so, not a fault
    """What was asked for is not in this practice."""


def one_line(error: MinerError) -> str:
    """Return an error in one line; its file without the folders it lies in."""
    file = error.file and PurePath(error.file).name
    values: dict[str, Any] = dict(error.values)
    return MinerError(error.code, file=file, row=error.row, **values).message


def address(*parts: str) -> str:
    """Return an address of this page from its parts."""
    return "/" + "/".join(quote(part, safe="") for part in parts)


NEXT = {
    "unreadable": "records",
    "no_questions": "questions",
    "no_records": "records",
    "too_few": "week",
    "refer_first": "intake",
    "not_ranked": "ranking",
    "none_clear": "questions",
    "not_told_apart": "questions",
    "tick_missing": "plans/{of}",
    "testing": "plans/{of}",
    "test_due": "follow-up",
    "due": "follow-up",
    "watching": "follow-up",
    "tested": "follow-up",
    "clear_informed": "patterns/{of}",
}
"""On which of a client's pages the next step is done, by where the client stands."""
OF_RANKING = ("pages", "patterns/{of}")
"""Pages that show a ranking, which is made first where there is none."""


def why_not(folder: Path, told: str) -> str:
    """Return why a client cannot be read: there is nothing to read yet, or what was told."""
    own = {path.name for path in folder.iterdir() if path.name[0] != "."}
    return str(message("page.no_records")) if own <= {*OWN_FILES} else told


def clients_of(practice: Path) -> list[str]:
    """Return the names of the client folders, sorted; links are no clients."""
    with os.scandir(practice) as found:
        names = [item.name for item in found if item.is_dir(follow_symlinks=False)]
    return sorted(name for name in names if name != RULES and not name.startswith("."))


def client_folder(practice: Path, code: str) -> Path:
    """Return the folder of a client of this practice.

    Raises:
        Missing: there is none of that name.
    """
    if code not in clients_of(practice):
        raise Missing("page.no_such_client")
    return practice / code


def new_code(practice: Path, text: str) -> str:
    """Return a code a new client may have.

    Raises:
        MinerError: it is empty, too long, holds other marks, or is taken.
    """
    code = text.strip()
    if not _CODE.fullmatch(code) or len(code) > LONGEST_CODE or code.casefold() in _DEVICES:
        raise MinerError("page.code_not_usable" if code else "page.code_empty", most=LONGEST_CODE)
    taken = {path.name.casefold() for path in practice.iterdir()} | {RULES}
    if code.casefold() in taken:
        raise MinerError("page.code_taken", name=code)
    return code


def file_name(given: str) -> str:
    """Return a name a file may have in a client's folder, from whatever a browser sent.

    Raises:
        MinerError: nothing of it can be used, or it is a name that miner writes itself.
    """
    last = PureWindowsPath(given.replace("/", "\\")).name
    name = _UNUSUAL.sub("_", last).strip(" .")[-LONGEST_NAME:].strip(" .")
    if not name or PureWindowsPath(name).stem.casefold() in _DEVICES:
        raise MinerError("page.file_without_name")
    if name.casefold() in OWN_FILES:
        raise MinerError("page.own_file", file=name, name=name)
    return name


def file_in(folder: Path, name: str) -> Path:
    """Return a file that lies directly in a folder.

    Raises:
        Missing: there is none of that name, or it is a link.
    """
    here = (
        {item.name for item in os.scandir(folder) if item.is_file(follow_symlinks=False)}
        if folder.is_dir()
        else set()
    )
    if name not in here:
        raise Missing("page.no_such_file")
    return folder / name


def require_own(practice: Path) -> None:
    """Refuse a practice whose own files, or rule books, are links that lead out of it.

    Raises:
        MinerError: the link is named.
    """
    with os.scandir(practice) as found:
        links = [item.name for item in found if item.is_symlink()]
    own = [name for name in links if name in (*SHARED, RULES) or name.startswith(".miner")]
    rules = practice / RULES
    inside = [] if RULES in links or not rules.is_dir() else [*rules.iterdir()]
    for path in [*(practice / name for name in own), *inside]:
        _refuse_way_out(path, practice)


def require_inside(folder: Path, practice: Path) -> None:
    """Refuse a folder in which a link leads out of the practice.

    Raises:
        MinerError: the link is named.
    """
    for path in [folder, *folder.rglob("*")]:
        _refuse_way_out(path, practice)


def require_of_one(folder: Path) -> None:
    """Refuse a client's folder in which a link leads to another place, another client's too.

    Raises:
        MinerError: the link is named.
    """
    for path in folder.rglob("*"):
        _refuse_way_out(path, folder, "client's")


def _refuse_way_out(path: Path, practice: Path, whose: str = "practice") -> None:
    if path.is_symlink() and not path.resolve().is_relative_to(practice.resolve()):
        raise MinerError("page.link_out", file=path.relative_to(practice).as_posix(), whose=whose)
