"""Everything that is written: this account's alone, whole or not at all, never through a link.

What holds records or results is a file of mode 0600, in folders of mode 0700 where they are made
here, whatever the umask. A folder that is there already keeps its mode. A file that is written
again becomes its owner's alone, too. On a disk without modes everything else holds.

A link in the place of what is to be written is refused: neither followed nor replaced. A file is
written next to its place and then renamed, so another name of an older file (a hard link, as some
backups make them) keeps what it held. A file that only grows cannot be renamed: one with a second
name is refused.
"""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from filelock import FileLock

from miner.core.messages import MinerError

FILE_MODE, FOLDER_MODE = 0o600, 0o700
SHARED, RULES = ("practice.toml", "sources.toml"), "rules"
"""What the folder of a practice holds for all its clients: files, and a folder of rule books."""
PART = ".incoming-"
"""How the names of files begin that are not whole yet."""

_APPENDING = os.O_WRONLY | os.O_APPEND | os.O_CREAT
for _name in ("O_NOFOLLOW", "O_NONBLOCK", "O_CLOEXEC", "O_BINARY"):
    _APPENDING |= getattr(os, _name, 0)


def write_whole(path: Path, content: bytes | str, *, durable: bool = True) -> None:
    """Write a file so that it is there whole or as it was, whatever happens meanwhile.

    Args:
        path: the file, in a folder that is there.
        content: all of it; text is written as UTF-8 with its line ends as they are.
        durable: wait until it is on the disk; not needed for what can be computed again.

    Raises:
        MinerError: a link is in its place.
        OSError: the folder cannot be written.
    """
    with whole_file(path, durable=durable) as file:
        file.write(content.encode("utf-8") if isinstance(content, str) else content)


@contextmanager
def whole_file(path: Path, *, durable: bool = True) -> Iterator[IO[bytes]]:
    """Give a file to write piece by piece; it takes its place once all of it is written.

    Raises:
        MinerError: a link is in its place.
        OSError: the folder cannot be written.
    """
    require_no_link(path)
    handle, name = tempfile.mkstemp(prefix=PART, dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            _keep_private(file.fileno(), FILE_MODE)
            yield file
            file.flush()
            if durable:
                os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def append(path: Path, content: bytes) -> None:
    """Add to the end of a file, which is made where there is none, and wait for the disk.

    Raises:
        MinerError: a link, a second name of the file, or something other than a file is there.
        OSError: it cannot be written.
    """
    require_no_link(path)
    new = not path.exists()
    target = os.open(path, _APPENDING, FILE_MODE)
    try:
        _require_own_file(path, os.fstat(target))
        _keep_private(target, FILE_MODE)
        left = memoryview(content)
        while left:
            left = left[os.write(target, left) :]
        os.fsync(target)
    finally:
        os.close(target)
    if new and hasattr(os, "O_DIRECTORY"):
        folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def make_folder(path: Path, *, new: bool = False) -> None:
    """Make a folder, and those above it where they are missing.

    Args:
        path: the folder; one that is there stays as it is.
        new: it must not be there yet.

    Raises:
        MinerError: a link is in its place.
        FileExistsError: it is there and must be new, or it is not a folder.
        OSError: it cannot be made.
    """
    require_no_link(path)
    missing = [folder for folder in (path, *path.parents) if not folder.exists()]
    for folder in reversed(missing[1:]):
        with suppress(FileExistsError):
            folder.mkdir(FOLDER_MODE)
            _keep_private(folder, FOLDER_MODE)
    try:
        path.mkdir(FOLDER_MODE)
        _keep_private(path, FOLDER_MODE)
    except FileExistsError:
        if new or not path.is_dir():
            raise


def lock(path: Path, wait_s: float) -> FileLock:
    """Return a lock that one program at a time can hold; it is let go when that ends in any way.

    Args:
        path: the file of the lock.
        wait_s: how long to wait for it, in seconds.

    Raises:
        MinerError: a link is in its place.
    """
    require_no_link(path)
    return FileLock(path, timeout=wait_s, mode=FILE_MODE)


def require_no_link(path: Path) -> None:
    """Refuse a place that is a link.

    Raises:
        MinerError: it does.
    """
    if path.is_symlink():
        raise MinerError("core.link", file=path)


def _require_own_file(path: Path, found: os.stat_result) -> None:
    if not stat.S_ISREG(found.st_mode):
        raise MinerError("core.no_file", file=path)
    if found.st_nlink > 1:
        raise MinerError("core.second_name", file=path)


def _keep_private(place: Path | int, mode: int) -> None:
    """Set the mode that the umask may have narrowed, or an older version left wide."""
    if os.name == "posix":
        with suppress(OSError):  # a disk without modes
            os.chmod(place, mode)  # noqa: PTH101 - a Path has no way to name an open file


FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""What a spreadsheet takes for the beginning of a formula, wide forms among them.

Source: OWASP, CSV Injection (community page).
"""


def safe_cell(cell: str) -> str:
    """Return a cell that no spreadsheet runs: an apostrophe before what would be a formula."""
    return f"'{cell}" if cell.startswith(FORMULA) or _quoted(cell) else cell


def plain_cell(cell: str) -> str:
    """Return what a cell says: the text that :func:`safe_cell` was given."""
    return cell[1:] if _quoted(cell) else cell


def _quoted(cell: str) -> bool:
    return cell[:1] == "'" and cell[1:2] in ("'", *FORMULA)
