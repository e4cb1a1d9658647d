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
    seen = spelled(line)
    return seen if len(seen) <= limit else f"{seen[: max(limit - 3, 0)].rstrip()}..."


def name(text: object, limit: int = 60) -> str:
    """Return a name on one line; of a long one the beginning and the end, so that both tell."""
    whole = clean(text, 4 * limit)
    if len(whole) <= limit:
        return whole
    end = (limit - 3) // 2
    return f"{whole[: limit - 3 - end].rstrip()} \u2026 {whole[-end:].lstrip()}"


def spelled(line: str) -> str:
    """Return a text with its unseen characters spelled out, and nothing else changed."""
    return "".join(_spell(mark) for mark in line)


def _spell(mark: str) -> str:
    if mark.isprintable() or mark in JOINERS:
        return mark
    return f"<U+{ord(mark):04X}>" if unicodedata.category(mark) in _UNSEEN else " "
