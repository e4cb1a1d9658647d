"""Where the client folders of a practice are: on a disk, or in a store that fsspec can read."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from miner.core.files import RULES, SHARED, make_folder
from miner.core.messages import MinerError

OF_ONE_CLIENT = ("client.toml", "ledger.jsonl", "glucose.csv")


def is_remote(practice: str) -> bool:
    """Say whether a practice's address names a store and not a folder."""
    return "://" in practice


def client_folders(practice: str) -> list[str]:
    """Return the names of the client folders of a practice, sorted.

    Every folder in it is a client but ``rules`` and those whose name begins with a dot.

    Raises:
        MinerError: there is no such place, or no client in it.
    """
    names = _remote_folders(practice) if is_remote(practice) else _local_folders(Path(practice))
    found = sorted(name for name in names if name != RULES and not name.startswith("."))
    if not found:
        raise MinerError("caseload.no_clients", file=practice)
    return found


@contextmanager
def fetched(practice: str, name: str) -> Iterator[Path]:
    """Give one client's folder; from a store it is copied, with what the practice shares.

    Raises:
        MinerError: it cannot be read.
    """
    if not is_remote(practice):
        yield Path(practice) / name
        return
    files, root = _store(practice)
    with tempfile.TemporaryDirectory(prefix="miner-") as scratch:
        here = Path(scratch) / "practice"
        make_folder(here / name)
        for item in (name, RULES):
            _copy_folder(files, f"{root}/{item}", here / item)
        for item in SHARED:
            if files.isfile(f"{root}/{item}"):
                files.get_file(f"{root}/{item}", str(here / item))
        yield here / name


def fingerprint(folder: Path, extra: str) -> str:
    """Return a hash of every file of a client folder and of what the practice shares.

    Args:
        folder: the client's folder, the practice's its parent.
        extra: whatever else a result depends on.
    """
    digest = hashlib.sha256(extra.encode())
    shared = [folder.parent / name for name in SHARED]
    own = sorted(path for path in folder.rglob("*") if path.is_file())
    for path in [*own, *filter(Path.is_file, shared)]:
        content = path.read_bytes()
        name = path.relative_to(folder.parent).as_posix()
        digest.update(f"\0{name}\0{len(content)}\0".encode() + content)
    return digest.hexdigest()[:32]


def _local_folders(practice: Path) -> list[str]:
    if not practice.is_dir():
        raise MinerError("caseload.no_folder", file=practice)
    if any((practice / name).is_file() for name in OF_ONE_CLIENT):
        raise MinerError("caseload.one_client", file=practice)
    return [path.name for path in practice.iterdir() if path.is_dir()]


def _remote_folders(practice: str) -> list[str]:
    files, root = _store(practice)
    if not files.isdir(root):
        raise MinerError("caseload.no_place", file=practice)
    listed = files.ls(root, detail=True)
    folders = [item["name"] for item in listed if item["type"] == "directory"]
    return [str(name).rstrip("/").rpartition("/")[2] for name in folders]


def _store(practice: str) -> tuple[Any, str]:
    try:
        import fsspec
    except ImportError as error:
        raise MinerError("caseload.store_needs_library") from error
    try:
        files, root = fsspec.core.url_to_fs(practice)
    except (ValueError, ImportError) as error:
        raise MinerError("caseload.address", file=practice, reason=str(error)) from error
    return files, str(root).rstrip("/")


def _copy_folder(files: Any, source: str, target: Path) -> None:
    if not files.isdir(source):
        return
    for path in sorted(files.find(source)):
        inside = str(path).removeprefix(source).lstrip("/")
        if inside:
            own = target / inside
            make_folder(own.parent)
            files.get_file(path, str(own))
