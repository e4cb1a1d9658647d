"""Folds words that differ only in case, spacing or form into one."""

from __future__ import annotations

import unicodedata


def fold(text: str) -> str:
    """Return the text in one form (NFKC), lower case, with single spaces.

    Example:
        >>> fold("  Late\u00a0 Coffee ")
        'late coffee'
    """
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())
