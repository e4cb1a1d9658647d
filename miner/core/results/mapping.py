"""What is proposed for a file that was never seen: the entries, why, and what is asked.

Reasons and questions are codes with their values; ``words/map.py`` words them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from miner.core.facts import Result
from miner.core.messages import Message


@dataclass(frozen=True, slots=True, repr=False)
class Known(Result):
    """One key of the proposed entry, its value (empty: the default), and the reason."""

    key: str
    value: str
    code: str
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, repr=False)
class Option(Result):
    """One answer to a question.

    Attributes:
        value: what is answered.
        sets: the keys of the entry it sets; None takes a key out.
        code: what it would mean for the rows.
        facts: the values of that.
    """

    value: str
    sets: Mapping[str, Any] = field(default_factory=dict)
    code: str = ""
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, repr=False)
class Undecided(Result):
    """A question that the file does not answer.

    Attributes:
        key: what is answered with ``--set KEY=VALUE``.
        code: why it cannot be decided.
        facts: the values of that.
        options: the answers; empty where anything can be one.
        needed: without an answer the entry cannot be used.
        default: the answer that holds until a person gives one, or None.
    """

    key: str
    code: str
    facts: Mapping[str, Any]
    options: tuple[Option, ...]
    needed: bool = False
    default: str | None = None


@dataclass(frozen=True, slots=True, repr=False)
class ReadRow(Result):
    """A row as it is in the file, and as it would be read.

    Attributes:
        row: its line, from 1.
        raw: the line itself.
        times: its time, or its start and end, ISO 8601; with the offset where it is known.
        values: what it holds: (column of the stream, value, unit or an empty text).
    """

    row: int
    raw: str
    times: tuple[str, ...]
    values: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True, repr=False)
class Loss(Result):
    """Rows, or cells of them, that the entry as it is would leave out.

    Attributes:
        count: how many.
        rows: of so many rows.
        what: what is wrong with them.
        breaks: they are so many that the entry is refused.
        otherwise: answers with which most rows could be read, or nothing.
        few: they are fewer than what is warned of.
        row: the line of the first of them, where that is known.
    """

    count: int
    rows: int
    what: Message
    breaks: bool = False
    otherwise: Mapping[str, str] = field(default_factory=dict)
    few: bool = False
    row: int | None = None


@dataclass(frozen=True, slots=True, repr=False)
class Proposal(Result):
    """A proposed entry of ``sources.toml``. Nothing is read by it until somebody saves it.

    Attributes:
        file: the file it is about.
        stream: the stream it seems to feed, or None.
        entry: the entry as a table.
        toml: the entry as it would be written.
        known: each key with its reason.
        questions: what is left to a person.
        unused: the file's columns that no entry of the file uses.
        rows: rows below the header that hold something of this stream.
        cadence_min: the commonest gap between two times, in minutes, or None.
        sample: the first rows, raw and as they would be read.
        losses: what would be left out, where that is much.
    """

    file: str
    stream: str | None
    entry: Mapping[str, Any]
    toml: str
    known: tuple[Known, ...]
    questions: tuple[Undecided, ...]
    unused: tuple[str, ...]
    rows: int
    cadence_min: float | None
    sample: tuple[ReadRow, ...] = ()
    losses: tuple[Loss, ...] = ()

    @property
    def refused(self) -> Loss | None:
        """Return the loss for which the entry is refused, or None."""
        return next((each for each in self.losses if each.breaks), None)

    @property
    def complete(self) -> bool:
        """Return whether the entry could be used as it is."""
        return self.stream is not None and not any(item.needed for item in self.questions)


@dataclass(frozen=True, slots=True, repr=False)
class Mapped(Result):
    """Everything that is proposed for a file.

    Attributes:
        file: the file.
        proposals: one for each stream it feeds.
        written: the ``sources.toml`` they were written to, or None.
        replaced: how many entries there were for this file before.
    """

    file: str
    proposals: tuple[Proposal, ...]
    written: str | None = None
    replaced: int = 0

    @property
    def complete(self) -> bool:
        """Return whether every entry could be used as it is."""
        return all(each.complete for each in self.proposals)

    @property
    def refused(self) -> Loss | None:
        """Return the loss for which an entry is refused, or None."""
        return next((each.refused for each in self.proposals if each.refused), None)

    def asked(self) -> list[list[tuple[str, Undecided]]]:
        """Return of each proposal its questions, each with the key that answers it.

        What is asked of every proposal is in the first alone, under the plain key; which column
        is meant may differ between streams.
        """
        every = [each.questions for each in self.proposals]
        alone = len(every) == 1
        shared = [
            item
            for item in every[0]
            if alone or (not item.key.startswith("columns.") and all(item in x for x in every))
        ]
        return [
            [
                (item.key if item in shared else f"{proposal.stream}.{item.key}", item)
                for item in proposal.questions
                if at == 0 or item not in shared
            ]
            for at, proposal in enumerate(self.proposals)
        ]
