"""Words that mean the same: which count as one habit now or then, and tags that are spelt alike."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from shlex import quote
from typing import TYPE_CHECKING

import pandas as pd

from miner.core.messages import Severity
from miner.records.text_columns import fold

if TYPE_CHECKING:
    from miner.records.client import Client, Settings
    from miner.records.findings import Findings

KINDS = ("tag", "food")
"""The kinds of factors that are named by the client's own words: ``tag:wine``, ``food:rice``."""

Groups = Mapping[str, Iterable[str]]


def standing_for(factor: str, settings: Settings) -> str:
    """Return the name of a factor as the tables have it: its words folded, synonyms followed.

    Args:
        factor: as typed, like ``tag:Red  Wine``.
        settings: the client's.
    """
    kind, colon, words = factor.partition(":")
    if not colon:
        return factor
    folded = fold(words)
    return f"{kind}:{_table(kind, settings).get(folded, folded)}"


def words_behind(factor: str, settings: Settings) -> tuple[str, ...]:
    """Return every word that counts as a factor, sorted; nothing where words do not name it.

    Args:
        factor: as the tables have it.
        settings: the client's.
    """
    kind, _, name = factor.partition(":")
    if kind not in KINDS:
        return ()
    table = _table(kind, settings)
    return tuple(sorted({name, *(own for own, kept in table.items() if kept == name)}))


def merged_now(settings: Settings) -> dict[str, dict[str, str]]:
    """Return what is merged, as the ledger keeps it: nothing where nothing is."""
    tables = {"synonyms": settings.synonyms, "food_synonyms": settings.food_synonyms}
    return {name: dict(table) for name, table in tables.items() if table}


def as_merged(settings: Settings, kept: Mapping[str, object]) -> Settings:
    """Return settings with what was merged when an entry of the ledger was written."""
    tags, foods = (
        {str(own): str(word) for own, word in table.items()} if isinstance(table, dict) else {}
        for table in (kept.get("synonyms"), kept.get("food_synonyms"))
    )
    return replace(settings, synonyms=tags, food_synonyms=foods)


def with_words(client: Client, groups: Groups) -> Client:
    """Return the client with the words of some factors as they were, whatever was merged since.

    Args:
        client: as read.
        groups: factor -> the words that counted as it.
    """
    tables = {kind: dict(_table(kind, client.settings)) for kind in KINDS}
    for factor, words in groups.items():
        kind, _, name = factor.partition(":")
        if kind in KINDS:
            known = {own: kept for own, kept in tables[kind].items() if kept != name}
            tables[kind] = {own: kept for own, kept in known.items() if own not in words}
            tables[kind] |= {word: name for word in words if word != name}
    settings = replace(client.settings, synonyms=tables["tag"], food_synonyms=tables["food"])
    if settings == client.settings:
        return client
    tags = client.streams["tags"]
    joined = tags["noted"].replace(tables["tag"]) if tables["tag"] else tags["noted"]
    streams = {**client.streams, "tags": tags.assign(tag=joined)}
    return replace(client, settings=settings, streams=streams)


def _table(kind: str, settings: Settings) -> Mapping[str, str]:
    if kind not in KINDS:
        return {}
    return settings.synonyms if kind == "tag" else settings.food_synonyms


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
    """Say whether two tags may be one word; different numbers always make them two."""
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
