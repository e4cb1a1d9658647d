"""Which words a client noted as tags and as foods, how often and on which dates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from miner.records.client import Client
from miner.tables.food.foods import one_name, terms


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
