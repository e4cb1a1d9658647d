"""Reads files whole, and settings: a mistake is named by file, table, key and nearest known key."""

from __future__ import annotations

import stat
import tomllib
from datetime import date
from pathlib import Path
from typing import Annotated, Any, TypeVar, get_args
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, BaseModel, ConfigDict, ValidationError
from pydantic_core import PydanticCustomError

from miner.core.messages import Message, MinerError, closest, expected_of, message
from miner.records.read.packed import LARGEST_BYTES

LARGEST_TOML_BYTES = 1_000_000


def read_bytes(path: Path, name: str, most: int | None = None) -> bytes:
    """Return the bytes of a file.

    Args:
        path: the file.
        name: what it is called in a message.
        most: the largest size in bytes; by default that of a table.

    Raises:
        MinerError: it is a folder, it is too large, or it may not be read.
    """
    if path.is_dir():
        raise MinerError("records.is_a_folder", file=name)
    try:
        about = path.stat()
        if not stat.S_ISREG(about.st_mode):
            raise MinerError("records.is_a_device", file=name)
        if about.st_size > (most or LARGEST_BYTES):
            raise too_large(name, about.st_size, most)
        return path.read_bytes()
    except OSError as error:
        raise MinerError(
            "records.file_not_readable", file=name, error=error.strerror or str(error)
        ) from error


def too_large(name: str, size: int, most: int | None = None) -> MinerError:
    """Return the refusal of a file that would not fit into memory."""
    return MinerError(
        "records.file_too_large", file=name, size=size / 1e6, most=(most or LARGEST_BYTES) / 1e6
    )


class TomlModel(BaseModel):
    """A table of a settings file: frozen, and every key in it is known."""

    model_config = ConfigDict(
        defer_build=True, frozen=True, extra="forbid", str_strip_whitespace=True
    )


Model = TypeVar("Model", bound=TomlModel)


def _known_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        close = closest(name, sorted(available_timezones()))
        raise not_as_expected("time_zone_close" if close else "time_zone", close=close) from error
    return name


def not_as_expected(code: str, **values: Any) -> PydanticCustomError:
    """Return what a check of a value raises: the code of what is expected, with its values."""
    return PydanticCustomError(f"records.{code}", code, values)


Zone = Annotated[str, AfterValidator(_known_zone)]


def read_toml(path: Path, model: type[Model]) -> Model:
    """Read one settings file; a file that is not there is the model's defaults.

    Raises:
        MinerError: the file cannot be read, is not TOML, or a key in it is wrong.
    """
    if not path.exists() and not path.is_symlink():
        return model()
    name = f"{path.parent.name}/{path.name}"
    raw = read_bytes(path, name, LARGEST_TOML_BYTES)
    try:
        table = tomllib.loads(raw.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise MinerError(
            "records.toml_not_utf8", file=name, row=raw[: error.start].count(b"\n") + 1
        ) from error
    except (ValueError, RecursionError) as error:
        raise MinerError("records.toml_not_valid", file=name, error=str(error)) from error
    try:
        return model(**table)
    except ValidationError as error:
        raise explained(error, model, name) from error


def explained(error: ValidationError, model: type[BaseModel], file: str) -> MinerError:
    """Return what is wrong with a table of settings as one message of this program's own."""
    first = min(error.errors(), key=lambda each: each["type"] != "extra_forbidden")
    place = [part for part in first["loc"] if part != "[key]"]
    key = _spoken(place)
    if first["type"] == "extra_forbidden":
        known = tuple(_table_at(model, place[:-1]).model_fields)
        close = closest(str(place[-1]), known)
        return MinerError("records.key_unknown", file=file, key=key, known=known, close=close)
    if first["type"] == "missing":
        return MinerError("records.key_missing", file=file, key=key)
    value, expected = _short(first["input"]), expected_of(first)
    return MinerError("records.key_wrong", file=file, key=key, value=value, expected=expected)


def _spoken(place: list[int | str]) -> str:
    words = [f"number {part + 1}" if isinstance(part, int) else str(part) for part in place]
    if len(words) < 2:
        return f"'{words[0]}'" if words else "the file"
    return f"'{words[-1]}' in [{' '.join(words[:-1])}]"


def _short(value: Any) -> str | Message:
    if isinstance(value, dict):
        keys = ", ".join(map(str, value))[:47]
        return message("records.table_with", keys=keys) if value else "an empty table"
    text = value.isoformat() if isinstance(value, date) else repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _table_at(model: type[BaseModel], place: list[int | str]) -> type[BaseModel]:
    for part in place:
        if isinstance(part, int):
            continue
        field = model.model_fields.get(part) or next(
            (item for item in model.model_fields.values() if item.alias == part), None
        )
        inner = _models_in(field.annotation) if field else []
        if not inner:
            break
        model = inner[0]
    return model


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [found for part in get_args(annotation) for found in _models_in(part)]
