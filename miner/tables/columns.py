"""Columns of a stream as plain arrays: numbers, folded words, and where each row came from."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd

from miner.tables.clockwork import Floats

Source = tuple[str, int]

_ACCENTED = {
    "a": "àáâãäå", "c": "ç", "e": "èéêë", "i": "ìíîï", "n": "ñ", "o": "òóôõöø", "u": "ùúûü",
    "y": "ýÿ",
}  # fmt: skip


def numbers(column: pd.Series) -> Floats:
    """Return a column as floats, what is not noted as NaN."""
    return pd.to_numeric(column, errors="coerce").to_numpy(np.float64, na_value=np.nan)


def words(column: pd.Series) -> list[str]:
    """Return a column as folded text: no case, single spaces, empty where not noted."""
    given = column.tolist()
    folded = {item: fold(item) for item in set(given)}
    return [folded[item] for item in given]


def fold(text: Any) -> str:
    """Return text without case and with single spaces; empty for what is not text."""
    return " ".join(text.casefold().split()) if isinstance(text, str) else ""


def origins(frame: pd.DataFrame) -> list[Source]:
    """Return the (file, row) of every row of a stream."""
    return list(zip(map(str, frame["file"].tolist()), map(int, frame["row"].tolist()), strict=True))


def whole_words(listed: Iterable[str]) -> re.Pattern[str]:
    """Return a pattern for any of the words, whole and in the singular or with an s.

    A star at an end of a word stands for any letters; a letter also stands for itself with an
    accent.
    """
    choices = "|".join(_pattern(fold(word)) for word in listed)
    return re.compile(rf"\b(?:{choices})s?\b" if choices else r"(?!)")


def _pattern(word: str) -> str:
    return "".join(
        r"\w*"
        if letter == "*"
        else f"[{letter}{_ACCENTED[letter]}]"
        if letter in _ACCENTED
        else re.escape(letter)
        for letter in word
    )
