"""Tags that may be one word spelt in several ways: proposed as synonyms, never joined here."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterator
from shlex import quote

import pandas as pd

from miner.core.results import Severity
from miner.records.findings import Findings

SPELT_ALIKE = ("spelt_alike", "spelt_alike_as_often")
MOST_COMPARED = 200
_FEWEST_LETTERS = 5
_ALIKE = 0.86
_WORD = re.compile(r"[^\W_]+")


def spelt_alike(tags: pd.DataFrame, findings: Findings) -> None:
    """Ask about tags that look like one word; the commoner of two is proposed to stay.

    Args:
        tags: the stream, synonyms joined.
        findings: gets one question a pair.
    """
    counts = tags.loc[tags["left_out"] == "", "tag"].value_counts(sort=True)
    names = sorted(map(str, counts.index), key=lambda name: (-int(counts[name]), name))
    for other, name in _pairs(names[:MOST_COMPARED]):
        first = tags[tags["tag"] == other].iloc[0]
        findings.add(
            Severity.QUESTION,
            # which of two that are as common is right is not known
            SPELT_ALIKE[int(counts[other] == counts[name])],
            file=str(first["file"]),
            row=int(first["row"]),
            count=int(counts[other]),
            values={
                "rarer": other,
                "commoner": name,
                "times": int(counts[name]),
                "other_times": int(counts[other]),
                "from": quote(other),
                "into": quote(name),
            },
        )


def _pairs(names: list[str]) -> Iterator[tuple[str, str]]:
    """Yield pairs of a rarer and a commoner tag that look alike, each rarer one once."""
    keys = [key_of(name) for name in names]
    for at, name in enumerate(names):
        for before in range(at):
            if alike(name, names[before], keys[at], keys[before]):
                yield name, names[before]
                break


def key_of(name: str) -> tuple[str, ...]:
    """Return a tag's words without accents and plural endings, in alphabetical order."""
    plain = unicodedata.normalize("NFKD", name)
    plain = "".join(mark for mark in plain if not unicodedata.combining(mark))
    return tuple(sorted(_singular(word) for word in _WORD.findall(plain)))


def _singular(word: str) -> str:
    if len(word) > 4 and word.endswith("es") and word[-3] in "sxz":
        return word[:-2]
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else word


def alike(one: str, two: str, key: tuple[str, ...], other: tuple[str, ...]) -> bool:
    """Say whether two tags may be one word; numbers in them always tell them apart."""
    if not key or not other:
        return False
    if key == other or "".join(key) == "".join(other):
        return True
    digits = [re.sub(r"\D", "", name) for name in (one, two)]
    if digits[0] != digits[1] or min(len(one), len(two)) < _FEWEST_LETTERS:
        return False
    if len(key) != len(other) or sum(a != b for a, b in zip(key, other, strict=True)) != 1:
        return False
    a, b = next((a, b) for a, b in zip(key, other, strict=True) if a != b)
    if min(len(a), len(b)) < _FEWEST_LETTERS:
        return False
    return difflib.SequenceMatcher(None, a, b).ratio() >= _ALIKE
