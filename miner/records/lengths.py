"""Lengths of time in words or with colons: ``7 h 5 min``, ``1h 20m``, ``7:05:30``, ``7:05``."""

from __future__ import annotations

import numpy as np
import pandas as pd

from miner.records.columns import factor
from miner.records.text_columns import Text

_NUMBER = r"\d{1,4}(?:[.,]\d{1,6})?"
_HOURS = rf"(?P<h>{_NUMBER}) ?(?:h|hr|hrs|hours?|std|stunden?|horas?|heures?|ore)\.?"
_MINUTES = rf"(?P<m>{_NUMBER}) ?(?:m|min|mins|minutes?|minuten?|minutos?|minuti)\.?"
_SECONDS = rf"(?P<s>{_NUMBER}) ?(?:s|sec|secs|seconds?|sek|sekunden?|segundos?|secondi)\.?"
_WORDS = rf"(?i)^(?=\d)(?:{_HOURS})?,? ?(?:{_MINUTES})?,? ?(?:{_SECONDS})?$"
_LONG = r"^(?P<h>\d{1,3}):(?P<m>[0-5]\d):(?P<s>[0-5]\d)$"
_SHORT = r"^(?P<h>\d{1,3}):(?P<m>[0-5]\d)$"


def in_words(text: Text) -> np.ndarray:
    """Return the minutes that cells tell with their units, or as h:mm:ss; NaN where none does."""
    found = np.full(len(text), np.nan)
    for pattern in (_WORDS, _LONG):
        parts = text.str.extract(pattern)
        told = parts.notna().any(axis=1).to_numpy()
        amounts = parts.apply(lambda part: part.str.replace(",", ".", regex=False))
        h, m, s = (pd.to_numeric(amounts[name]).fillna(0).to_numpy(float) for name in "hms")
        found[told] = (h * 60 + m + s / 60)[told]
    return found


def with_colon(text: Text) -> np.ndarray:
    """Return wholes and sixtieths such as 7:05: hours where that is the unit, or minutes."""
    parts = text.str.extract(_SHORT)
    whole, sixtieth = (pd.to_numeric(parts[name]).to_numpy(float) for name in "hm")
    return np.asarray(whole + sixtieth / 60, dtype=np.float64)


def lengths(text: Text, unit: str | None) -> np.ndarray:
    """Return lengths in a unit (s, min, h), NaN where a cell is none; minutes without a unit.

    Without a unit ``7:05`` is none: it may be hours and minutes, or minutes and seconds.
    """
    told = in_words(text) * (factor("min", unit or "min") or 1.0)
    if unit not in ("min", "h"):
        return told
    return np.where(np.isnan(told), with_colon(text), told)
