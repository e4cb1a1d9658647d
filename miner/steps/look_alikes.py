"""Tags and foods of a practice that may be one word: proposed, never merged here."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from miner.core.results import LookAlike, Merges, WordCount
from miner.records.synonyms import alike, key_of
from miner.steps.practice_words import names_caution, practice_words
from miner.steps.ranking import Progress
from miner.steps.records import load_rules

MAX_COMMON, MAX_RARE = 200, 2000


def merges(
    practice: Path, *, rules: Path | None = None, progress: Progress | None = None
) -> Merges:
    """Return what is merged in a practice, and pairs of words that look alike.

    The word on more days, then that of more clients, then that noted more often is the commoner;
    of two that are as common neither is proposed to stand. Words of medicines, pregnancy and
    illness are in no pair.

    Args:
        practice: the practice's folder.
        rules: a folder with rule books of one's own.
        progress: told what is being done and the share done.

    Raises:
        MinerError: it is no folder of client folders, or a file of it cannot be used.
    """
    held = practice_words(practice, progress)
    caution = names_caution(load_rules(rules, practice / "client").cautions)
    found: list[LookAlike] = []
    for kind in held.merged:
        free = [word for word in held.known([kind]) if word not in held.merged[kind]]
        # A phrase is made of its words, and merging those merges it.
        free = [word for word in free if kind == "tag" or " " not in word]
        counts = (held.counted(kind, [word], word) for word in free if not caution(word))
        found += _pairs(kind, sorted(counts, key=_rank))
    told = tuple(
        (kind, own, kept) for kind, table in held.merged.items() for own, kept in table.items()
    )
    common = sorted(found, key=lambda pair: (-pair.commoner.days, pair.commoner.word))
    return Merges(practice.resolve().name, told, tuple(common), held.unreadable)


def _rank(count: WordCount) -> tuple[int, int, int, str]:
    return -count.days, -count.clients, -count.times, count.word


def _pairs(kind: str, counts: list[WordCount]) -> Iterator[LookAlike]:
    """Yield each rarer word with the commonest that it looks like."""
    keys = [key_of(count.word) for count in counts]
    for at, count in enumerate(counts[:MAX_RARE]):
        for before in range(min(at, MAX_COMMON)):
            other = counts[before]
            if alike(count.word, other.word, keys[at], keys[before]):
                yield LookAlike(kind, count, other, _rank(count)[:3] == _rank(other)[:3])
                break
