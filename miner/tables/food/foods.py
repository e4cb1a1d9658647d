"""What was eaten, in the client's own words: the labels that come back often enough."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from miner.rulebook import Cautions
from miner.tables.columns import fold, whole_words
from miner.tables.labels_of_food import AMOUNT_WORDS, said, words_of

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
    """Return labels with words that mean the same under one, in whichever number they stand.

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
