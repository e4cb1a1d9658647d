"""Words that mean the same: how often each was noted, what is merged, what may be."""

from __future__ import annotations

from dataclasses import dataclass

from miner.core.results.base import Result


@dataclass(frozen=True, slots=True, repr=False)
class WordCount(Result):
    """How often a word was noted over the clients of a practice.

    Attributes:
        times: tags, or rows of the meal log, that hold it.
        days: dates on which they stand, counted for each client.
        clients: clients who noted it.
    """

    word: str
    times: int
    days: int
    clients: int


@dataclass(frozen=True, slots=True, repr=False)
class Reworded(Result):
    """A fixed question or a kept idea of one client that a merge touches.

    Attributes:
        client: the client's folder.
        what: "question" or "kept".
        factor: its name when it was written down.
        state: "before" where nobody had looked at later days: it asks about the words as they are
            merged; "after" where somebody had: a hint at most; "goes_on" of what is kept: it keeps
            the words it was kept with.
    """

    client: str
    what: str
    factor: str
    state: str


@dataclass(frozen=True, slots=True, repr=False)
class Merge(Result):
    """What a merge, or a parting, comes to.

    Attributes:
        kind: "tag" or "food".
        action: "merged", "parted" or "preview" (nothing is written).
        into: the word that stands for the others.
        words: each word, the one that stands first.
        together: all of them.
        reworded: what of the clients' ledgers is touched.
        apart: clients whose own file says otherwise of one of the words.
        unreadable: folders that could not be read, and why.
    """

    practice: str
    kind: str
    action: str
    into: str
    words: tuple[WordCount, ...]
    together: WordCount
    reworded: tuple[Reworded, ...] = ()
    apart: tuple[str, ...] = ()
    unreadable: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, repr=False)
class LookAlike(Result):
    """Two words that may be one: the rarer, the commoner; neither where both are as common."""

    kind: str
    rarer: WordCount
    commoner: WordCount
    as_common: bool


@dataclass(frozen=True, slots=True, repr=False)
class Merges(Result):
    """What is merged in a practice, and what may be.

    Attributes:
        merged: kind, word, and the word that stands for it.
        alike: the most noted first.
    """

    practice: str
    merged: tuple[tuple[str, str, str], ...]
    alike: tuple[LookAlike, ...]
    unreadable: tuple[tuple[str, str], ...] = ()
