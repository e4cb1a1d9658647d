"""Changes single keys of a settings file: the rest of it, comments too, stays as it was."""

from __future__ import annotations

import hashlib
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path

import tomlkit
from tomlkit import TOMLDocument
from tomlkit.exceptions import TOMLKitError

from miner.core.files import write_whole
from miner.core.messages import MinerError
from miner.records.read.files import TomlModel, read_toml

WRITING = threading.RLock()
"""Held from the reading of a file to its writing: two tabs change it one after the other."""


def change(
    path: Path,
    model: type[TomlModel],
    edit: Callable[[TOMLDocument], None],
    seen: str | None = None,
) -> None:
    """Change a settings file; nothing is written where it would not be readable afterwards.

    Args:
        path: the file; made where there is none.
        model: what it has to be.
        edit: changes the document it is given.
        seen: the stamp of the file as the form showed it; None where the form shows nothing of it.

    Raises:
        MinerError: the file cannot be read now, or could not after the change, or it is another
            than the form showed.
    """
    with WRITING:
        require_stamp(path, seen)
        _change(path, model, edit)


def _change(path: Path, model: type[TomlModel], edit: Callable[[TOMLDocument], None]) -> None:
    read_toml(path, model)
    try:
        held = tomlkit.parse(path.read_bytes().decode("utf-8-sig")) if path.exists() else None
    except TOMLKitError as error:
        raise MinerError(
            "records.settings_not_changeable", file=f"{path.parent.name}/{path.name}"
        ) from error
    document = held if held is not None else tomlkit.document()
    edit(document)
    with tempfile.TemporaryDirectory(prefix=".miner-", dir=path.parent) as scratch:
        trial = Path(scratch) / path.name
        write_whole(trial, tomlkit.dumps(document), durable=False)
        read_toml(trial, model)
    write_whole(path, tomlkit.dumps(document))


def stamp(path: Path) -> str:
    """Return what says whether a file is the same; of one that is not there, a stamp too."""
    held = path.read_bytes() if path.is_file() else b""
    return hashlib.sha256(held).hexdigest()[:24]


def require_stamp(path: Path, seen: str | None) -> None:
    """Refuse to write over a file that is another than somebody saw.

    Raises:
        MinerError: it was changed meanwhile.
    """
    if seen is not None and seen != stamp(path):
        raise MinerError("records.changed_meanwhile", file=path.name)


def set_key(document: TOMLDocument, key: str, value: object) -> None:
    """Set a key at the head of a document, before its tables; None takes it away."""
    if value is None:
        document.pop(key, None)
    else:
        document[key] = value
