"""What was eaten, in the client's own words: labels that come back, words alike, pairs."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.records.client import Client
from miner.rulebook import Cautions
from miner.tables.columns import DAY, Floats, fold, from_usual, whole_words
from miner.tables.food.eating import AMOUNT_WORDS, said, words_of
from miner.tables.unit_table import UnitTable

MOST_FOODS = 20
LONGEST_PHRASE = 3
SHORTEST_WORD = 3
_WORD_OR_NUMBER = re.compile(r"[^\W_]+(?:['’.-][^\W_]+)*")
_JOINING = frozenset(("a", "an", "and", "in", "of", "on", "plus", "some", "the", "with"))
NO_NAMES: Mapping[str, str] = MappingProxyType({})


def terms(label: str, names: Mapping[str, str] = NO_NAMES) -> frozenset[str]:
    """Return the words of a label, and its phrases of up to three words.

    Args:
        label: as it was noted.
        names: ``one_name`` of the client's labels: what the last word of a phrase is called.
    """
    found: set[str] = set()
    for words in words_of(label):
        for size in range(1, LONGEST_PHRASE + 1):
            for k in range(len(words) - size + 1):
                *others, last = words[k : k + size]
                found.add(" ".join([*others, names.get(last, last)]))
    return frozenset(term for term in found if _names_food(term.split()))


def _names_food(words: list[str]) -> bool:
    """Say whether words may name a food: no amount among them, no "of" or "a" at either end."""
    joined = {words[0], words[-1]} & _JOINING
    return len(" ".join(words)) >= SHORTEST_WORD and not joined and not AMOUNT_WORDS & set(words)


def merged(labels: Sequence[str], synonyms: Mapping[str, str]) -> list[str]:
    """Return labels with words that mean the same under one, in whichever number they are.

    Args:
        labels: in the order of time.
        synonyms: folded words to those they stand for, as ``practice.toml`` has them.
    """
    if not synonyms:
        return list(labels)
    names = one_name(labels)
    forms: dict[str, list[str]] = {}
    for word, name in names.items():
        forms.setdefault(name, []).append(word)
    known = {
        " ".join([*others, form]): kept
        for own, kept in synonyms.items()
        for *others, last in [own.split()]
        for form in forms.get(names.get(last, last), [last])
    }
    longest_first = sorted(map(re.escape, known), key=len, reverse=True)
    pattern = re.compile(rf"(?<![\w'’-])(?:{'|'.join(longest_first)})(?![\w'’-])")
    folded = ["\n".join(map(fold, label.splitlines())) for label in labels]
    return [pattern.sub(lambda found: known[found[0]], label) for label in folded]


def alike(label: str, names: Mapping[str, str] = NO_NAMES) -> str:
    """Return the words and numbers of a label in an order of their own: equal for equal food."""
    words = _WORD_OR_NUMBER.findall(said(label))
    return " ".join(sorted(names.get(word, word) for word in words if word not in _JOINING))


def one_name(labels: Sequence[str]) -> dict[str, str]:
    """Return the one name of each word that a client writes in the singular and in the plural.

    A word is the plural of another where it is that word with -s, with -es after x, z, ch, sh
    or o, or with -ies for a -y after a consonant; the singular has three letters or more and does
    not end in s. Both must have ended a part of some label: so "sweet" in "sweet potato" is not
    taken for one of "sweets". The form that was noted first is the name, so that a name does not
    change as records grow.

    Args:
        labels: in the order of time.
    """
    heads: dict[str, int] = {}
    for label in labels:
        for words in words_of(label):
            food = [word for word in words if word not in AMOUNT_WORDS]
            if food:
                heads.setdefault(food[-1], len(heads))
    first = {word: word for word in heads}
    for word in heads:
        for single in (one for one in _singulars(word) if one in first):
            joined = {first[word], first[single]}
            name = min(joined, key=heads.__getitem__)
            first = {each: name if own in joined else own for each, own in first.items()}
    several = {name for word, name in first.items() if word != name}
    return {word: name for word, name in first.items() if name in several}


def _singulars(word: str) -> list[str]:
    """Return what a word may be the plural of."""
    found = []
    if word.endswith("s"):
        found.append(word[:-1])
    if word.endswith("es") and word[:-2].endswith(("x", "z", "ch", "sh", "o")):
        found.append(word[:-2])
    if word.endswith("ies") and word[-4:-3] not in ("", *"aeiou"):
        found.append(f"{word[:-3]}y")
    return [one for one in found if len(one) >= SHORTEST_WORD and not one.endswith("s")]


def foods_of(
    eaten: Sequence[frozenset[str]],
    days: Sequence[int],
    least: int,
    cautions: Cautions,
    synonyms: Mapping[str, str] = NO_NAMES,
) -> tuple[str, ...]:
    """Return the words that came back at ``least`` meals on as many days, by name.

    Of words that came at exactly the same meals the longest stands for all. Words that name a
    medicine, an illness or the treatment of a low are none; of more than twenty, the commonest.

    Args:
        eaten: the terms of each meal.
        days: the day of each meal.
        least: fewest meals, and fewest days.
        cautions: the words that make a medicine or an illness.
        synonyms: words to those they stand for; what stands for such a word is none either.
    """
    at: dict[str, list[int]] = {}
    for place, found in enumerate(eaten):
        for term in found:
            at.setdefault(term, []).append(place)
    no_food = [*cautions.medicine_words, *cautions.illness_words, *cautions.low_treatment_words]
    other = whole_words(no_food)
    hidden = {kept for own, kept in synonyms.items() if other.search(own)}
    same: dict[tuple[int, ...], str] = {}
    for term, places in sorted(at.items()):
        key = tuple(places)
        enough = len(places) >= least and len({days[k] for k in places}) >= least
        if term in hidden:
            continue
        if enough and not other.search(term) and len(term) > len(same.get(key, "")):
            same[key] = term
    ranked = sorted(same.items(), key=lambda pair: (-len(pair[0]), pair[1]))
    return tuple(sorted(term for _, term in ranked[:MOST_FOODS]))


@dataclass(frozen=True, slots=True)
class WordsNoted:
    """The words of one client, before any of them are merged.

    Attributes:
        names: the one name of food words that this client writes in both numbers.
        rows: by kind ("tag", "food"): the date and the words of each row that has any.
    """

    names: dict[str, str]
    rows: dict[str, list[tuple[str, frozenset[str]]]]

    def known(self, kind: str) -> frozenset[str]:
        """Return every word of one kind."""
        return frozenset().union(*(words for _, words in self.rows[kind]))

    def own(self, kind: str, word: str) -> str:
        """Return a word in the number in which this client's foods have it."""
        *others, last = word.split()
        return " ".join([*others, self.names.get(last, last)]) if kind == "food" else word

    def counted(self, kind: str, wanted: Sequence[str]) -> tuple[int, int]:
        """Return how many rows hold one of some words, and on how many dates."""
        own = {self.own(kind, word) for word in wanted}
        dates = [date for date, words in self.rows[kind] if own & words]
        return len(dates), len(set(dates))


def words_noted(client: Client) -> WordsNoted:
    """Return the words that a client noted; rows that are not used are passed over."""
    tags, meals = client.used("tags"), client.used("meals")
    labels = meals["label"].astype(str).tolist()
    names = one_name(labels)
    eaten = [terms(label, names) for label in labels]
    return WordsNoted(
        names,
        {
            "tag": [
                (str(day), frozenset([str(word)]))
                for day, word in zip(tags["start_clock"].dt.date, tags["noted"], strict=True)
                if word
            ],
            "food": [
                (str(day), words)
                for day, words in zip(meals["clock"].dt.date, eaten, strict=True)
                if words
            ],
        },
    )


CARBS_WITHIN_G = 15
CLOCK_WITHIN_MIN = 90
FAR = 1e6


@dataclass(frozen=True, slots=True)
class Pair:
    """Two rows of a meal table: with the factor, and without it."""

    with_: str
    without: str
    similar_by: str
    also_differs: tuple[str, ...]


def pairs_of(table: UnitTable, factor: str, outcome: str) -> tuple[Pair, ...]:
    """Return pairs of similar meals with and without a factor, each meal used once.

    Similar: the same words in the label (in any order, in the singular or the plural), or
    carbohydrate within 15 g and time of day within 90 minutes. Nearest pairs first: those that
    differ in the fewest other habits, then those with the same words, then the least apart in
    carbohydrate, then in time of day.

    Args:
        table: a meal table.
        factor: one of its factors.
        outcome: the outcome that must be known of both.
    """
    frame = _known(table, outcome)
    yes, no = frame[frame[factor] == 1], frame[frame[factor] == 0]
    if not len(yes) or not len(no):
        return ()
    words, other = yes["words"].to_numpy(object), no["words"].to_numpy(object)
    label = (words[:, None] == other[None, :]) & (words != "")[:, None]
    grams, away = _apart(yes, no)
    amount = (grams <= CARBS_WITHIN_G) & (away <= CLOCK_WITHIN_MIN)
    others = [name for name in table.factors if name != factor and ":" not in name]
    unlike = _unlike(yes, no, others)
    count = unlike.sum(axis=2)
    found = np.argwhere(label | amount)
    keys = [
        (int(count[i, j]), not label[i, j], float(grams[i, j]), float(away[i, j])) for i, j in found
    ]
    order = sorted(range(len(found)), key=lambda place: (keys[place], tuple(found[place])))
    return tuple(
        Pair(
            str(yes.index[i]),
            str(no.index[j]),
            "label" if label[i, j] else "carbohydrate and time",
            tuple(name for name, differs in zip(others, unlike[i, j], strict=True) if differs),
        )
        for i, j in _each_once(found[order])
    )


def repeats_of(table: UnitTable, outcome: str, factor: str | None = None) -> Floats:
    """Return the differences of an outcome between meals that are the same, later minus earlier.

    The same: the same words in the label, carbohydrate within 15 g where both tell it, time of
    day within 90 minutes, and no difference in the factor. Each meal is used once.
    """
    frame = _known(table, outcome)
    if factor is not None:
        frame = frame[frame[factor].notna()]
    frame = frame.assign(side=0.0 if factor is None else frame[factor])
    out: list[float] = []
    for _, group in frame[frame["words"] != ""].groupby(["words", "side"], sort=True):
        values = group[outcome].to_numpy(np.float64)
        grams, away = _apart(group, group)
        near = (away <= CLOCK_WITHIN_MIN) & ((grams <= CARBS_WITHIN_G) | (grams >= FAR))
        free = list(range(len(group)))
        while free:
            first = free.pop(0)
            other = next((place for place in free if near[first, place]), None)
            if other is not None:
                free.remove(other)
                out.append(float(values[other] - values[first]))
    return np.array(out, dtype=np.float64)


def _known(table: UnitTable, outcome: str) -> pd.DataFrame:
    """Return the usable meals whose outcome is known, with the words of their labels."""
    food = table.context.get("food", table.frame["label"]).tolist()
    names = one_name(food)
    frame = table.frame.assign(words=[alike(label, names) for label in food])
    return frame[frame["usable"] & frame[outcome].notna()]


def _apart(left: pd.DataFrame, right: pd.DataFrame) -> tuple[Floats, Floats]:
    """Return how many grams (a million where one does not tell) and minutes each two differ."""
    a, b = (part["carbs_g"].to_numpy(np.float64) for part in (left, right))
    grams = np.nan_to_num(np.abs(a[:, None] - b[None, :]), nan=FAR)
    x, y = (
        part["start"].to_numpy("datetime64[s]").astype(np.int64) % DAY for part in (left, right)
    )
    return grams, np.abs(from_usual(x[:, None] - y[None, :], 0)) / 60


def _unlike(left: pd.DataFrame, right: pd.DataFrame, names: list[str]) -> NDArray[np.bool_]:
    a, b = (part[names].to_numpy(np.float64) for part in (left, right))
    apart: NDArray[np.bool_] = np.abs(a[:, None, :] - b[None, :, :]) == 1
    return apart


def _each_once(pairs: NDArray[np.intp]) -> Iterator[tuple[int, int]]:
    left: set[int] = set()
    right: set[int] = set()
    for i, j in pairs.tolist():
        if i not in left and j not in right:
            left.add(i)
            right.add(j)
            yield i, j
