"""What a label says: no food, or which foods; the words are those of the rule books."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

NAMES = {
    "breakfast": "breakfast", "lunch": "lunch", "dinner": "dinner", "supper": "dinner",
    "evening meal": "dinner", "snack": "snack",
}  # fmt: skip
FOODS = re.compile(r"[\n,;:+&/()\[\]|\u2022\u00b7]|\s[-\u2013\u2014]\s|\band\b|\bwith\b")
WORD = re.compile(r"[^\W\d_]+(?:['\u2019-][^\W\d_]+)*")
JOINING = {"a", "an", "and", "in", "of", "on", "plus", "some", "the", "with"}


def folded(word: str) -> str:
    """Return words in lower case with single spaces."""
    return " ".join(str(word).casefold().split())


def without_meals(label: str) -> str:
    """Return a label in lower case, lines as commas, without the words of meals."""
    text = folded(re.sub(r"\s*\n\s*", ", ", str(label).strip()))
    for name in NAMES:
        text = re.sub(rf"\b{name}\b", " ", text)
    return " ".join(text.split())


@lru_cache
def pattern_of(words: tuple[str, ...]) -> re.Pattern[str]:
    """Return a pattern for words of the rule book; a star stands for any letters."""
    some = "|".join(re.escape(word).replace(r"\*", r"\w*") for word in words)
    return re.compile(rf"(?<!\w)(?:{some})(?!\w)")


def matches(words: Iterable[str], label: str) -> bool:
    """Say whether any of the words stands in a label."""
    return bool(pattern_of(tuple(words)).search(label))


@dataclass
class Words:
    """The words of cautions.toml, and the words of amount of the definitions."""

    cautions: dict[str, list[str]]
    amounts: set[str]
    amount: re.Pattern[str]

    @classmethod
    def of(cls, cautions: dict[str, list[str]], definitions: str) -> Words:
        """Take the lists from docs/definitions.md, as they are there."""
        amounts, units = (
            definitions.partition(begin)[2].partition(". ")[0].split(", ")
            for begin in ("these words of amount: ", "one of these units: ")
        )
        number = r"(?<!\w)\d+(?:[.,/]\d+)?"
        pattern = (
            rf"{number}(?:\s*(?:{'|'.join(units)}))?(?!\w)|(?<!\w)x\s*\d+(?!\w)|(?<!\w)x(?!\w)"
        )
        return cls(cautions, set(amounts), re.compile(rf"{pattern}|[\u00bc-\u00be\u2153\u2154]"))

    def no_food(self, label: str, meal: str, told: bool) -> str:
        """Return why a row of meals is no food (type, low, medicine, nothing, unsaid), or "".

        ``told``: it tells energy, carbohydrate, protein or fat above 0.
        """
        if meal == "not_food":
            return "type"
        said = without_meals(label).strip(" -:,;.")
        if not said:
            return ""
        if matches(self.cautions["low_treatment_words"], said):
            return "low"
        if not told:
            both = {said, self.plain(said)}
            if both & set(self.cautions["nothing_eaten_labels"]):
                return "nothing"
            if both & set(self.cautions["not_reported_labels"]):
                return "unsaid"
        parts = [part for part in FOODS.split(said) if self.plain(part)]
        if parts and all(map(self.is_none, parts)):
            lows = self.cautions["low_treatment_labels"]
            return "low" if any(self.plain(part) in lows for part in parts) else "medicine"
        return ""

    def is_none(self, part: str) -> bool:
        """Say whether one food of a label is a medicine or what treats a low."""
        medicine = matches(self.cautions["medicine_words"], part)
        return medicine or self.plain(part) in self.cautions["low_treatment_labels"]

    def plain(self, text: str) -> str:
        """Return the words of a text without amounts."""
        words = WORD.findall(self.amount.sub(" ", text))
        return " ".join(word for word in words if word not in self.amounts and len(word) > 1)

    def parts_of(self, label: str) -> list[list[str]]:
        """Return the words of each food of a label; an amount between two foods parts them too."""
        text = self.amount.sub(",", without_meals(label))
        return [words for part in FOODS.split(text) if (words := WORD.findall(part))]

    def one_name(self, labels: list[str]) -> dict[str, str]:
        """Return the form noted first of each word that ends a food in both numbers."""
        last = []
        for words in (part for label in labels for part in self.parts_of(label)):
            last += [word for word in words if word not in self.amounts][-1:]
        seen = list(dict.fromkeys(last))
        joined: list[set[str]] = []
        for word in seen:
            same = {word, *(each for each in singulars(word) if each in seen)}
            touching = [group for group in joined if group & same]
            joined = [group for group in joined if not group & same]
            joined.append(set().union(same, *touching))
        return {word: min(group, key=seen.index) for group in joined for word in group}

    def runs(self, words: list[str], names: dict[str, str]) -> list[str]:
        """Return the runs of up to three words that may name a food."""
        found = []
        for first in range(len(words)):
            for end in range(first + 1, min(first + 3, len(words)) + 1):
                run = words[first:end]
                phrase = " ".join([*run[:-1], names.get(run[-1], run[-1])])
                ends = {run[0], run[-1]} & JOINING
                if not ends and not self.amounts & set(run) and len(phrase) >= 3:
                    found.append(phrase)
        return found

    def foods(self, meals: pd.DataFrame, often: int = 5) -> dict[str, list[float]]:
        """Return where each food stands that comes back often enough; unknown without any food."""
        places = self._places(meals)
        hidden = [f"{kind}_words" for kind in ("medicine", "illness", "low_treatment")]
        other = [word for kind in hidden for word in self.cautions[kind]]
        dates = meals["date"].fillna(meals["time"].dt.normalize()).tolist()
        longest: dict[frozenset[int], str] = {}
        for phrase, at in sorted(places.items(), key=lambda item: (-len(item[0]), item[0])):
            enough = len(at) >= often and len({dates[each] for each in at}) >= often
            if enough and not matches(other, phrase):
                longest.setdefault(frozenset(at), phrase)
        most = sorted(longest.items(), key=lambda item: (-len(item[0]), item[1]))[:20]
        said = set().union(*places.values())
        return {
            name: [float(i in at) if i in said else np.nan for i in range(len(meals))]
            for at, name in most
        }

    def _places(self, meals: pd.DataFrame) -> dict[str, set[int]]:
        """Return at which meals each run of words stands; none where a label names no food."""
        names = self.one_name([label for labels in meals["labels"] for label in labels])
        places: dict[str, set[int]] = {}
        for at, labels in enumerate(meals["labels"]):
            if not all(self.parts_of(label) for label in labels):
                continue
            texts = [part for label in labels for part in FOODS.split(without_meals(label))]
            kept = ", ".join(part for part in texts if not self.is_none(part))
            for words in self.parts_of(kept):
                for phrase in self.runs(words, names):
                    places.setdefault(phrase, set()).add(at)
        return places


def singulars(word: str) -> list[str]:
    """Return what a word may be the plural of."""
    found = [word[:-1]] if word.endswith("s") else []
    if re.search(r"(x|z|ch|sh|o)es$", word):
        found.append(word[:-2])
    if re.search(r"[^aeiou]ies$", word):
        found.append(word[:-3] + "y")
    return [each for each in found if len(each) >= 3 and not each.endswith("s")]
