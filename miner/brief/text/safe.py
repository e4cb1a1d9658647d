"""Makes words from a client's files harmless to print: no control, direction or line marks."""

from __future__ import annotations

import unicodedata

JOINERS = "\u200c\u200d"
_UNSEEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def clean(text: object, limit: int = 400) -> str:
    """Return the text on one line, unseen characters spelled out as ``<U+202E>``.

    Args:
        text: anything that came from a file or a folder name.
        limit: the longest text returned, in characters; a longer one ends in ``...``.
    """
    line = " ".join(str(text)[: 4 * limit].split())
    seen = "".join(_spell(mark) for mark in line)
    return seen if len(seen) <= limit else f"{seen[: max(limit - 3, 0)].rstrip()}..."


def _spell(mark: str) -> str:
    if mark.isprintable() or mark in JOINERS:
        return mark
    return f"<U+{ord(mark):04X}>" if unicodedata.category(mark) in _UNSEEN else " "
