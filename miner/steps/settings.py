"""The settings of a client and of a practice: as written, and changed key by key."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any, get_args

import tomlkit
from pydantic import ValidationError
from tomlkit import TOMLDocument

from miner.records.read.files import TomlModel, explained, read_toml
from miner.records.read.settings import (
    TREATED_RANGE,
    WEEK_DAYS,
    ClientFile,
    PracticeFile,
    read_settings,
)
from miner.records.write.settings_file import WRITING, change, set_key, stamp

__all__ = [
    "TREATED_RANGE",
    "WEEK_DAYS",
    "change_client",
    "change_practice",
    "choices",
    "client_file",
    "count_again",
    "display_unit",
    "leave_out",
    "practice_file",
    "stamp",
]


def client_file(folder: Path) -> ClientFile:
    """Return what ``client.toml`` says, the model's defaults where there is none.

    Raises:
        MinerError: it cannot be used as it is.
    """
    return read_toml(folder / "client.toml", ClientFile)


def practice_file(practice: Path) -> PracticeFile:
    """Return what ``practice.toml`` says, the model's defaults where there is none.

    Raises:
        MinerError: it cannot be used as it is.
    """
    return read_toml(practice / "practice.toml", PracticeFile)


def display_unit(folder: Path) -> str:
    """Return the unit in which a client's glucose is shown: its own, else the practice's.

    Raises:
        MinerError: a settings file cannot be used as it is.
    """
    return read_settings(folder, folder.parent).display_unit


def choices(key: str) -> tuple[str, ...]:
    """Return the words that a key of ``practice.toml`` may have."""
    return get_args(get_args(PracticeFile.model_fields[key].annotation)[0])


def change_client(folder: Path, values: Mapping[str, Any], seen: str | None = None) -> None:
    """Change keys of ``client.toml``: all of them or none; the rest of it stays as it is.

    Args:
        folder: the client's folder.
        values: by key, as text or as it is read; None takes a key away.
        seen: the stamp of the file that a form showed, or None.

    Raises:
        MinerError: a value cannot be used, or the file is another than the form showed.
    """
    _change(folder / "client.toml", ClientFile, values, seen)


def change_practice(practice: Path, values: Mapping[str, Any], seen: str | None = None) -> None:
    """Change keys of ``practice.toml`` as :func:`change_client` does.

    Raises:
        MinerError: a value cannot be used, or the file is another than the form showed.
    """
    _change(practice / "practice.toml", PracticeFile, values, seen)


def leave_out(folder: Path, day: date, reason: str) -> None:
    """Leave a day of a client out, with a reason; rankings after a first one report it."""
    with WRITING:
        held = client_file(folder).left_out
        change_client(folder, {"left_out": [*held, {"date": day, "reason": reason}]})


def count_again(folder: Path, day: date) -> None:
    """Take back that a day of a client is left out."""
    with WRITING:
        held = client_file(folder).left_out
        change_client(folder, {"left_out": [item for item in held if item.date != day]})


def _change(
    path: Path, model: type[ClientFile | PracticeFile], values: Mapping[str, Any], seen: str | None
) -> None:
    given = {key: value for key, value in values.items() if value is not None}
    try:
        new = model.model_validate(given)
    except ValidationError as error:
        raise explained(error, model, f"{path.parent.name}/{path.name}") from error

    def edit(document: TOMLDocument) -> None:
        held = read_toml(path, model)
        for key, value in values.items():
            before, after = getattr(held, key), getattr(new, key)
            if value is None:
                set_key(document, key, None)
            elif before != after:
                _put(document, key, before, after)

    change(path, model, edit, seen)


def _put(document: TOMLDocument, key: str, before: Any, after: Any) -> None:
    """Put a value in place of another; of tables only what differs is written."""
    if isinstance(after, TomlModel):
        before, after = _plain(before), _plain(after)
    if isinstance(after, dict):
        table: Any = document.setdefault(key, tomlkit.table())
        for name in before.keys() - after.keys():
            table.pop(name)
        for name, value in after.items():
            if before.get(name) != value:
                table[name] = value
        if not table:
            document.remove(key)
    elif isinstance(after, tuple) and isinstance((*(before or ()), *after)[0], TomlModel):
        _put_tables(document, key, before, after)
    elif isinstance(after, tuple):
        whole = (isinstance(item, float) and item.is_integer() for item in after)
        plain = [int(item) if own else item for item, own in zip(after, whole, strict=True)]
        array = tomlkit.item(plain)
        set_key(document, key, array.multiline(len(plain) > 1 and isinstance(plain[0], date)))
    else:
        set_key(document, key, after)


def _plain(table: TomlModel) -> dict[str, Any]:
    """Return the keys of a table that say something, as they are written."""
    told = table.model_dump(exclude_none=True, exclude_defaults=True)
    return {
        name: list(value) if isinstance(value, tuple) else value for name, value in told.items()
    }


def _put_tables(
    document: TOMLDocument, key: str, before: Sequence[TomlModel], after: Sequence[TomlModel]
) -> None:
    tables: Any = document.setdefault(key, tomlkit.aot())
    for place in reversed(range(len(before))):
        if before[place] not in after:
            del tables[place]
    for item in after:
        if item not in before:
            tables.append(item.model_dump(exclude_none=True))
    if not after:
        document.remove(key)
