"""Finds what comes before, or goes with, one person's bad glucose days.

From Python: ``read_client``, ``day_table``, ``rank``, ``ask`` and the rest of :mod:`miner.steps`,
loaded when first used. A client or its folder serves alike; nothing is written to a client's
folder unless ``remember=True``.

Each function has an example: ``miner-demo`` is what ``miner demo --today 2026-02-24`` writes,
``invented`` what ``miner generate invented --clients 2 --days 8`` does, and ``client`` is one of
the former.

Example:
    >>> client = read_client("miner-demo/client-01")
    >>> rank(client, draws=200).usable_units
    41
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from miner.core import VERSION
from miner.core.facts import sentences_from
from miner.core.messages import texts_from

if TYPE_CHECKING:
    from miner.steps import (
        ask,
        check,
        day_table,
        error_rate,
        meal_table,
        pool,
        rank,
        read_client,
        why,
    )

__version__ = VERSION

__all__ = [
    "ask",
    "check",
    "day_table",
    "error_rate",
    "meal_table",
    "pool",
    "rank",
    "read_client",
    "why",
]


def _texts(code: str, values: Mapping[str, object], rules: Any = None) -> Mapping[str, str]:
    from miner.words.said import texts

    return texts(code, values, rules=rules)


def _sentence(fact: Any, name: str) -> Any:
    from miner.words.results import sentence_of

    return sentence_of(fact, name)


texts_from(_texts)
sentences_from(_sentence)


def __getattr__(name: str) -> Any:
    """Return a step of :mod:`miner.steps` by its name."""
    if name in __all__:
        from importlib import import_module

        return getattr(import_module("miner.steps"), name)
    raise AttributeError(f"module 'miner' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
