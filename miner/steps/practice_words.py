"""The words that all clients of a practice noted, and how often."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from miner.caseload.places import client_folders, is_remote
from miner.core.errors import MinerError
from miner.core.results import WordCount
from miner.records import read_client
from miner.records.client import Client
from miner.records.read.settings import PracticeFile
from miner.records.read.toml_file import read_toml
from miner.records.text_columns import fold
from miner.rulebook import Cautions
from miner.steps.ranking import Progress
from miner.tables.columns import whole_words
from miner.tables.food.foods import WordsNoted, words_noted

FILE = "practice.toml"
TABLES = {"tag": "synonyms", "food": "food_synonyms"}


@dataclass(frozen=True, slots=True)
class NotedBy:
    """One client of a practice: the folder's name, the records, the words noted."""

    name: str
    client: Client
    words: WordsNoted


@dataclass(frozen=True, slots=True)
class PracticeWords:
    """The words of a practice.

    Attributes:
        clients: those who could be read.
        unreadable: folders that could not be, and why.
        merged: by kind, each merged word, folded, and the one it is written to stand for.
    """

    clients: tuple[NotedBy, ...]
    unreadable: tuple[tuple[str, str], ...]
    merged: dict[str, dict[str, str]]

    def holds(self, kind: str, word: str) -> bool:
        """Say whether any client noted a word."""
        return any(item.words.own(kind, word) in item.words.known(kind) for item in self.clients)

    def known(self, kinds: Iterable[str]) -> tuple[str, ...]:
        """Return every word of some kinds, sorted."""
        every = (item.words.known(kind) for item in self.clients for kind in kinds)
        return tuple(sorted(frozenset().union(*every)))

    def counted(self, kind: str, words: Sequence[str], name: str) -> WordCount:
        """Return how often any of some words was noted, under a name."""
        found = [item.words.counted(kind, words) for item in self.clients]
        return WordCount(
            name,
            times=sum(times for times, _ in found),
            days=sum(days for _, days in found),
            clients=sum(times > 0 for times, _ in found),
        )


def practice_words(practice: Path, progress: Progress | None = None) -> PracticeWords:
    """Read the clients of a practice and count what they noted.

    Args:
        practice: the practice's folder.
        progress: told what is being done and the share done.

    Raises:
        MinerError: it is no folder of client folders, or ``practice.toml`` cannot be used.
    """
    if is_remote(str(practice)):
        raise MinerError("steps.practice_in_store")
    shared = read_toml(practice / FILE, PracticeFile)
    clients, unreadable = [], []
    names = client_folders(str(practice))
    for at, name in enumerate(names):
        if progress is not None:
            progress("Reading the clients", at / len(names))
        try:
            client = read_client(practice / name, practice=practice)
        except MinerError as error:
            unreadable.append((name, error.message))
        else:
            clients.append(NotedBy(name, client, words_noted(client)))
    tables = {"tag": shared.synonyms, "food": shared.food_synonyms}
    merged = {
        kind: {fold(own): fold(kept) for own, kept in table.items()}
        for kind, table in tables.items()
    }
    return PracticeWords(tuple(clients), tuple(unreadable), merged)


def names_caution(cautions: Cautions) -> Callable[[str], bool]:
    """Return what says whether words name a medicine, a pregnancy or an illness."""
    pattern = whole_words(
        [*cautions.medicine_words, *cautions.pregnancy_words, *cautions.illness_words]
    )
    return lambda words: pattern.search(words) is not None
