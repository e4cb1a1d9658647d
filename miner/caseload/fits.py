"""Pooled fits kept in the work folder, so that what has not changed is not fitted again."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from types import UnionType
from typing import TYPE_CHECKING, Any, get_args, get_origin, get_type_hints

import numpy as np

from miner.caseload.fitting import HabitFit
from miner.caseload.store import POOLED, restored, stored
from miner.core.messages import Message
from miner.core.results import Doubt

if TYPE_CHECKING:
    from miner.caseload.fitting import PooledQuestion
    from miner.caseload.store import Store


class KeptFits:
    """The fits of one pool, a file a question.

    Args:
        store: the work folder; the fits of any other pool in it are removed.
        rests_on: everything the fits rest on: program, rule books, units.
    """

    def __init__(self, store: Store, rests_on: tuple[str | int, ...]) -> None:
        key = hashlib.sha256(repr(rests_on).encode()).hexdigest()[:32]
        self._store, self._key = store, key
        home = store.folder / POOLED
        for path in sorted(home.iterdir()) if home.is_dir() else ():
            if path.name != key:
                shutil.rmtree(path) if path.is_dir() else path.unlink()

    def fit(self, question: PooledQuestion) -> tuple[HabitFit | None] | None:
        """Return what ``fit_task`` found of a question, alone in a tuple; None if not kept."""
        return self._read(question, "fit", HabitFit | None)

    def keep_fit(self, question: PooledQuestion, fit: HabitFit | None) -> None:
        """Keep it."""
        self._write(question, "fit", fit)

    def doubts(self, question: PooledQuestion) -> tuple[Doubt, ...] | None:
        """Return why a difference that passes is a hint all the same; None if not kept."""
        found = self._read(question, "doubts", tuple[Doubt, ...])
        return None if found is None else found[0]

    def keep_doubts(self, question: PooledQuestion, doubts: tuple[Doubt, ...]) -> None:
        """Keep them."""
        self._write(question, "doubts", doubts)

    def _name(self, question: PooledQuestion, what: str) -> str:
        asked = repr((question.factor, question.lag, question.outcome)).encode()
        return f"{POOLED}/{self._key}/{hashlib.sha256(asked).hexdigest()[:32]}-{what}.json"

    def _write(self, question: PooledQuestion, what: str, found: Any) -> None:
        content = json.dumps({what: _plain(found)}).encode()
        self._store.write(self._name(question, what), content)

    def _read(self, question: PooledQuestion, what: str, kind: Any) -> tuple[Any] | None:
        try:
            return (_made(kind, self._store.read_json(self._name(question, what))[what]),)
        except (TypeError, KeyError, ValueError):
            return None


def _plain(value: Any) -> Any:
    """Return what JSON can hold: every number as it is, a code with its values."""
    if isinstance(value, Message):
        return stored(value)
    if is_dataclass(value):
        return {item.name: _plain(getattr(value, item.name)) for item in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value.tolist() if isinstance(value, np.ndarray | np.generic) else value


def _made(kind: Any, raw: Any) -> Any:
    """Return a value of a type again, an array or a dataclass that holds some."""
    origin, inner = get_origin(kind), get_args(kind)
    if raw is None or Message in inner:
        return restored(raw)
    if isinstance(kind, UnionType):
        return _made(inner[0], raw)
    if isinstance(kind, type) and is_dataclass(kind):
        hints = get_type_hints(kind)
        return kind(**{item.name: _made(hints[item.name], raw[item.name]) for item in fields(kind)})
    if origin is np.ndarray:
        (dtype,) = get_args(inner[1])
        return np.asarray(raw, dtype=None if dtype is np.generic else dtype)
    if isinstance(raw, dict):
        return {inner[0](key): _made(inner[1], item) for key, item in raw.items()}
    if isinstance(raw, list):
        return tuple(_made(inner[0], item) for item in raw)
    return kind(raw)
