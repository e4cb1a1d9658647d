"""Changes single keys of a settings file: the rest of it, comments too, stays as it was."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

import tomlkit
from tomlkit import TOMLDocument
from tomlkit.exceptions import TOMLKitError

from miner.errors import MinerError
from miner.records.toml_file import TomlModel, read_toml


def change(path: Path, model: type[TomlModel], edit: Callable[[TOMLDocument], None]) -> None:
    """Change a settings file; nothing is written where it would not be readable afterwards.

    Args:
        path: the file; made where there is none.
        model: what it has to be.
        edit: changes the document it is given.

    Raises:
        MinerError: the file cannot be read now, or could not after the change.
    """
    read_toml(path, model)
    try:
        held = tomlkit.parse(path.read_bytes().decode("utf-8-sig")) if path.exists() else None
    except TOMLKitError as error:
        raise MinerError(
            "this file cannot be changed from here", "a settings file in TOML",
            "Correct it by hand.", file=f"{path.parent.name}/{path.name}",
        ) from error  # fmt: skip
    document = held if held is not None else tomlkit.document()
    edit(document)
    with tempfile.TemporaryDirectory(prefix=".miner-", dir=path.parent) as scratch:
        trial = Path(scratch) / path.name
        trial.write_bytes(tomlkit.dumps(document).encode())
        read_toml(trial, model)
    write_whole(path, tomlkit.dumps(document).encode())


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that it is there whole or as it was, whatever happens meanwhile.

    Raises:
        OSError: the folder cannot be written.
    """
    handle, name = tempfile.mkstemp(prefix=".incoming-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
