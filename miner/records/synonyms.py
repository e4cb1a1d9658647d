"""Words that mean the same: which of them count as one habit now, and which did at another time."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from miner.records.client import Client, Settings
from miner.records.fold import fold

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
