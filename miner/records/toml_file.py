"""Reads a settings file; a mistake is told by file, table, key and the nearest known key."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path
from typing import Annotated, Any, TypeVar, get_args
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, BaseModel, ConfigDict, ValidationError

from miner.core.errors import MinerError
from miner.records.text_file import read_bytes
from miner.rulebook import nearest

LARGEST_TOML_BYTES = 1_000_000


class TomlModel(BaseModel):
    """A table of a settings file: frozen, and every key in it is known."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


Model = TypeVar("Model", bound=TomlModel)


def _known_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        hint = nearest(name, tuple(sorted(available_timezones())))
        raise ValueError(f"a time zone such as 'Europe/Lisbon'. {hint}".strip()) from error
    return name


_PLAIN = {
    "a valid tuple": "a list; tables of a list are written with double brackets, [[name]]",
    "a valid list": "a list",
    "a valid dictionary": "a table",
    "a valid dictionary or instance of": "a table of",
    "a valid string": "a text in quotes",
    "a valid boolean": "true or false",
    "String should have at most 1 character": "one character",
    "String should have at least 1 character": "one character",
    "a valid integer, unable to parse string as an integer": "a whole number",
    "a valid integer, got a number with a fractional part": "a whole number",
    "greater than or equal to 0": "a number of 0 or more",
    "a valid boolean, unable to interpret input": "true or false",
}
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
    found, key = _spoken(place), str(place[-1]) if place else ""
    if first["type"] == "extra_forbidden":
        known = tuple(_table_at(model, place[:-1]).model_fields)
        do = nearest(key, known) or "Remove that key and run again."
        return MinerError(
            f"the key {found} is not known", f"one of {', '.join(known)}", do, file=file
        )
    if first["type"] == "missing":
        return MinerError("records.key_missing", file=file, found=found)
    return MinerError(
        f"{found} is {_short(first['input'])}",
        plainly(first["msg"]),
        "Correct that key and run again.",
        file=file,
    )


def plainly(message: str) -> str:
    """Return what is expected of a value in plain words."""
    expected = message.removeprefix("Value error, ").removeprefix("Input should be ").strip()
    for formal, plain in _PLAIN.items():
        expected = expected.replace(formal, plain)
    return expected[:1].lower() + expected[1:]


def _spoken(place: list[int | str]) -> str:
    words = [f"number {part + 1}" if isinstance(part, int) else str(part) for part in place]
    if len(words) < 2:
        return f"'{words[0]}'" if words else "the file"
    return f"'{words[-1]}' in [{' '.join(words[:-1])}]"


def _short(value: Any) -> str:
    if isinstance(value, dict):
        return f"a table with {', '.join(map(str, value))}"[:60] if value else "an empty table"
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
