"""Files that were dropped: they wait beside the records until somebody adds or throws them away."""

from __future__ import annotations

import hashlib
import os
from contextlib import suppress
from pathlib import Path, PurePath

from miner.core.files import make_folder, write_whole
from miner.core.messages import MinerError
from miner.page.places import WAITING, file_in, file_name


def receive(folder: Path, given: str, content: bytes) -> str:
    """Put a file that was dropped among those that wait; return the name it has there.

    Args:
        folder: the client's folder.
        given: the name the browser sent.
        content: the whole file.

    Raises:
        MinerError: it is empty, or has no name a file of records may have.
        OSError: it cannot be written.
    """
    name = file_name(given)
    if not content:
        raise MinerError("page.file_empty", file=name)
    place = folder / WAITING
    make_folder(place)
    write_whole(place / name, content)
    return name


def waiting(folder: Path) -> list[str]:
    """Return the names of the files that wait, sorted."""
    place = folder / WAITING
    if not place.is_dir():
        return []
    found = [path.name for path in place.iterdir() if path.is_file() and not path.is_symlink()]
    return sorted(name for name in found if not name.startswith("."))


def waiting_file(folder: Path, name: str) -> Path:
    """Return a file that waits.

    Raises:
        Missing: there is none of that name.
    """
    return file_in(folder / WAITING, name)


def twin(folder: Path, path: Path) -> tuple[str, bool] | None:
    """Return what is there already: (name, whether it is the same to the byte), or None.

    Args:
        folder: the client's folder.
        path: the file that waits.
    """
    size, digest = path.stat().st_size, None
    for other in sorted(folder.iterdir()):
        if other.is_file() and other.name[0] != "." and other.stat().st_size == size:
            digest = digest or _digest(path)
            if _digest(other) == digest:
                return other.name, True
    taken = {other.name.casefold(): other.name for other in folder.iterdir()}
    same_name = taken.get(path.name.casefold())
    return None if same_name is None else (same_name, False)


def free_name(folder: Path, name: str) -> str:
    """Return the name itself, or with a number that no file of the folder has."""
    taken = {path.name.casefold() for path in folder.iterdir()}
    path, number, found = PurePath(name), 2, name
    while found.casefold() in taken:
        found, number = f"{path.stem}-{number}{path.suffix}", number + 1
    return found


def add(folder: Path, name: str, as_name: str) -> None:
    """Add a file that waits to the records: there whole, or not at all, and over nothing.

    Raises:
        MinerError: there is a file of that name already.
    """
    source, target = waiting_file(folder, name), folder / file_name(as_name)
    try:
        os.link(source, target)
    except FileExistsError as error:
        raise _taken(target.name) from error
    except OSError:
        if target.exists():
            raise _taken(target.name) from None
        source.rename(target)
    _cleared(folder, source)


def throw_away(folder: Path, name: str) -> None:
    """Throw away a file that waits; nothing of the records is touched."""
    _cleared(folder, waiting_file(folder, name))


def _cleared(folder: Path, path: Path) -> None:
    path.unlink(missing_ok=True)
    with suppress(OSError):
        (folder / WAITING).rmdir()


def _taken(name: str) -> MinerError:
    return MinerError("page.file_name_taken", file=name)


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
