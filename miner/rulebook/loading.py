"""Reading ``rules/*.toml``; a mistake is told by file, table and key."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, cast

from pydantic import BaseModel, ValidationError

from miner.core import resources
from miner.core.errors import MinerError, closest
from miner.core.messages import Message
from miner.rulebook.models import Cautions, FactorRule, Guardrails, OutcomeRule, RuleBook

BOOKS = ("factors", "outcomes", "guardrails", "cautions", "wording")
BESIDE = ("exports",)
"""Rule books that no ranking rests on: they are read elsewhere."""


@dataclass(frozen=True, slots=True)
class _Text:
    name: str
    path: Path
    text: bytes


@dataclass(frozen=True, slots=True)
class _Book:
    name: str
    path: Path
    table: Mapping[str, Any]


def load(*replacements: Path) -> RuleBook:
    """Read the shipped rule books; a book in a later folder replaces the one of the same name.

    Args:
        replacements: folders that may hold any of ``factors.toml``, ``outcomes.toml``,
            ``guardrails.toml``, ``cautions.toml``, ``wording.toml``.

    Raises:
        MinerError: a book cannot be read, or a key in it is unknown, missing or out of range.
    """
    for folder in replacements:
        _require_known(folder)
    return _of(tuple(_text(name, replacements) for name in BOOKS))


@lru_cache(maxsize=8)
def _of(texts: tuple[_Text, ...]) -> RuleBook:
    """Return the rule books of these texts: the same texts are read once by a program."""
    books = [_read(text) for text in texts]
    text = b"".join(book.name.encode() + b"\0" + book.text + b"\0" for book in texts)
    tables: dict[str, Any] = {book.name: book.table for book in books}
    try:
        return RuleBook(**tables, hash=hashlib.sha256(text).hexdigest()[:16])
    except ValidationError as error:
        raise _explain(error, books) from error


def _require_known(folder: Path) -> None:
    if not folder.is_dir():
        code = "rulebook.is_file" if folder.exists() else "rulebook.no_folder"
        raise MinerError(code, file=folder)
    known = tuple(f"{name}.toml" for name in (*BOOKS, *BESIDE))
    names = sorted(path.name for path in folder.glob("*.toml"))
    for name in names:
        if name not in known:
            close = closest(name, known)
            raise MinerError("rulebook.unknown", file=folder / name, known=known, close=close)
    if not names:
        raise MinerError("rulebook.none", file=folder, known=known)


def _text(name: str, replacements: tuple[Path, ...]) -> _Text:
    path = resources.folder("rules") / f"{name}.toml"
    for folder in replacements:
        if (folder / path.name).is_file():
            path = folder / path.name
    try:
        return _Text(name, path, path.read_bytes())
    except OSError as error:
        raise _unreadable(path, error) from error


def _unreadable(path: Path, error: Exception) -> MinerError:
    return MinerError("rulebook.unreadable", file=path, reason=str(error))


def _read(book: _Text) -> _Book:
    try:
        return _Book(book.name, book.path, tomllib.loads(book.text.decode("utf-8-sig")))
    except UnicodeDecodeError as error:
        raise _unreadable(book.path, error) from error
    except (ValueError, RecursionError) as error:
        raise MinerError("rulebook.no_toml", file=book.path, reason=str(error)) from error


def _explain(error: ValidationError, books: list[_Book]) -> MinerError:
    first = error.errors()[0]
    place = [str(part) for part in first["loc"]]
    book = next(item for item in books if item.name == place[0])
    found = f"[{'.'.join(place[1:-1])}] {place[-1]}" if place[2:] else ".".join(place[1:])
    if first["type"] == "extra_forbidden":
        models = {"factors": FactorRule, "outcomes": OutcomeRule, "guardrails": Guardrails}
        model = cast("type[BaseModel]", models.get(book.name, Cautions))
        close = closest(place[-1], model.model_fields)
        return MinerError("rulebook.unknown_key", file=book.path, key=found, close=close)
    if first["type"] == "missing":
        return MinerError("rulebook.missing_key", file=book.path, key=found)
    told = first["input"]
    shown = str(told).lower() if isinstance(told, bool) else repr(told)
    ours = first["type"].startswith("rulebook.")
    expected = Message(first["type"], first.get("ctx", {})) if ours else first["msg"].lower()
    return MinerError(
        "rulebook.bad_value", file=book.path, key=found, shown=shown, expected=expected
    )
