"""What is proposed for a file that was never seen: the entry, why, and what cannot be decided."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from miner.results.base import Result


@dataclass(frozen=True, slots=True)
class Choice(Result):
    """One key of the proposed entry, its value, and the reason."""

    key: str
    value: str
    reason: str


@dataclass(frozen=True, slots=True)
class Undecided(Result):
    """What the file itself does not decide.

    Attributes:
        key: the key of the entry it is about.
        options: what could stand there, as TOML; empty where anything could.
        reason: why it cannot be decided.
        needed: without it the entry cannot be used.
    """

    key: str
    options: tuple[str, ...]
    reason: str
    needed: bool = False


@dataclass(frozen=True, slots=True)
class Proposal(Result):
    """A proposed entry of ``sources.toml``; nothing is read by it until somebody declares it.

    Attributes:
        file: the file it is about.
        stream: the stream it seems to feed, or None.
        entry: the entry as a table.
        toml: the entry as it would be written.
        choices: each key with its reason.
        undecided: what is left to a person.
        unused: the file's columns that the entry does not speak of.
        rows: rows below the header.
        cadence_min: the commonest gap between two times, in minutes, or None.
        written: the file it was added to, or None.
    """

    file: str
    stream: str | None
    entry: Mapping[str, Any]
    toml: str
    choices: tuple[Choice, ...]
    undecided: tuple[Undecided, ...]
    unused: tuple[str, ...]
    rows: int
    cadence_min: float | None
    written: str | None = None

    @property
    def complete(self) -> bool:
        """Return whether the entry could be used as it stands."""
        return self.stream is not None and not any(item.needed for item in self.undecided)
