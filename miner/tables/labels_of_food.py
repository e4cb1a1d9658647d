"""Labels of the meal log: parted into foods, cleaned of the names of meals and of amounts."""

from __future__ import annotations

import re

from miner.tables.columns import fold, whole_words

MEAL_WORDS = {
    "breakfast": whole_words(["breakfast"]),
    "lunch": whole_words(["lunch"]),
    "dinner": whole_words(["dinner", "supper", "evening meal"]),
    "snack": whole_words(["snack"]),
}
_LINES = re.compile(r"\s*[\r\n]+\s*")
_PARTS = re.compile(r"[,;:+&/()\[\]|•·]|\s[-–—]\s|\band\b|\bwith\b")
_UNITS = (
    "kg|grams?|gr|g|mg|mcg|ml|cl|dl|lit(?:re|er)s?|l|oz|lbs?|kcal|cals?|kj|cm|iu|units?|u|tbsp|tsp|"
    "cups?|x|%"
)
_AMOUNT = re.compile(
    rf"\bx\s*\d+(?![^\W_])|\b\d+(?:[.,/]\d+)?(?:\s*(?:{_UNITS}))?(?![^\W_])|\bx\b|[¼-¾⅓⅔]"
)
"""150 g, 200ml, 2 x, x2, 1/2, 3; a number that is part of a name (b12) is none."""

_WORD = re.compile(r"[^\W\d_]+(?:['’-][^\W\d_]+)*")
AMOUNT_WORDS = frozenset(
    (
        "and", "with", "the", "from", "for", "some", "little", "small", "large", "big", "half",
        "quarter", "double", "extra", "more", "home", "made", "fresh", "bit", "plus", "few",
        "several", "pack", "packs", "packet", "packets", "piece", "pieces", "slice", "slices",
        "tub", "tubs", "portion", "portions", "serving", "servings", "handful", "tbsp", "tsp",
        "tablespoon", "tablespoons", "teaspoon", "teaspoons", "spoon", "spoons", "cup", "cups",
        "mug", "mugs", "glass", "glasses", "bowl", "bowls", "plate", "plates", "can", "cans",
        "bottle", "bottles", "one", "two", "three", "four", "five", "six",
    )
)  # fmt: skip
"""Words of amounts and of making, which name no food."""


def said(label: str) -> str:
    """Return a label without case and without the name of a meal; empty where nothing is left.

    Lines become parts of one line, with commas between.
    """
    text = fold(_LINES.sub(", ", label.strip()))
    for pattern in MEAL_WORDS.values():
        text = pattern.sub(" ", text)
    return " ".join(text.split()).strip(" -:,;.")


def without_amounts(text: str) -> str:
    """Return the words of a text, without amounts and words of amounts."""
    words = _WORD.findall(_AMOUNT.sub(" ", text))
    return " ".join(word for word in words if word not in AMOUNT_WORDS and len(word) > 1)


def parts_of(label: str) -> list[str]:
    """Return the foods of a label: parted by lines, signs, "and", "with"; no bare amount."""
    return [part for part in _PARTS.split(said(label)) if without_amounts(part)]


def words_of(label: str) -> list[list[str]]:
    """Return the words of each food of a label; an amount between two foods parts them too."""
    parts = _PARTS.split(_AMOUNT.sub(",", said(label)))
    return [words for part in parts if (words := _WORD.findall(part))]
