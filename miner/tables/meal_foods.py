"""What was eaten, in the client's own words: the labels that come back often enough."""

from __future__ import annotations

import re
from collections.abc import Sequence

from miner.rulebook import Cautions
from miner.tables.columns import fold, whole_words
from miner.tables.eating import MEAL_WORDS

MOST_FOODS = 20
LONGEST_PHRASE = 3
SHORTEST_WORD = 3
NOT_FOOD = frozenset(
    (
        "and", "with", "the", "from", "for", "some", "little", "small", "large", "big", "half",
        "extra", "more", "home", "made", "fresh", "bit", "plus", "few", "several", "pack", "packet",
        "piece", "pieces", "slice", "slices", "tub", "portion", "portions", "handful", "tbsp",
        "tsp",
    )
)  # fmt: skip
_PARTS = re.compile(r"[,;+&/()]|\band\b|\bwith\b")
_WORD = re.compile(r"[^\W\d_]+(?:['’-][^\W\d_]+)*")


def said(label: str) -> str:
    """Return a label without case and without the name of a meal; empty where nothing is left."""
    text = fold(label)
    for pattern in MEAL_WORDS.values():
        text = pattern.sub(" ", text)
    return " ".join(text.split()).strip(" -:,;.")


def terms(label: str) -> frozenset[str]:
    """Return the words of a label, and its phrases of up to three words."""
    found: set[str] = set()
    for part in _PARTS.split(said(label)):
        words = _WORD.findall(part)
        for size in range(1, LONGEST_PHRASE + 1):
            found |= {" ".join(words[k : k + size]) for k in range(len(words) - size + 1)}
    return frozenset(
        term for term in found if len(term) >= SHORTEST_WORD and not NOT_FOOD & set(term.split())
    )


def foods_of(
    eaten: Sequence[frozenset[str]], days: Sequence[int], least: int, cautions: Cautions
) -> tuple[str, ...]:
    """Return the words that came back at ``least`` meals on as many days, by name.

    Of words that came at exactly the same meals the longest stands for all. Words that name a
    medicine or an illness are none; of more than twenty, the commonest.

    Args:
        eaten: the terms of each meal.
        days: the day of each meal.
        least: fewest meals, and fewest days.
        cautions: the words that make a medicine or an illness.
    """
    at: dict[str, list[int]] = {}
    for place, found in enumerate(eaten):
        for term in found:
            at.setdefault(term, []).append(place)
    other = whole_words([*cautions.medicine_words, *cautions.illness_words])
    same: dict[tuple[int, ...], str] = {}
    for term, places in sorted(at.items()):
        key = tuple(places)
        enough = len(places) >= least and len({days[k] for k in places}) >= least
        if enough and not other.search(term) and len(term) > len(same.get(key, "")):
            same[key] = term
    ranked = sorted(same.items(), key=lambda pair: (-len(pair[0]), pair[1]))
    return tuple(sorted(term for _, term in ranked[:MOST_FOODS]))
