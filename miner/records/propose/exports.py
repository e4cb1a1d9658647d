"""Reads ``rules/exports.toml``: how a kind of file tends to look."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, ConfigDict

from miner.core import resources
from miner.records.propose.columns import folded
from miner.records.read.files import TomlModel, read_toml


@dataclass(frozen=True, slots=True)
class Words:
    """Words of the rule book. Several in one text belong together; a star matches any letters."""

    listed: tuple[str, ...]

    def rank(self, name: Iterable[str]) -> int | None:
        """Return the place of the first of them that is in the words of a name, or None."""
        given = tuple(name)
        for at, each in enumerate(self.listed):
            if all(any(_fits(part, word) for word in given) for part in each.split()):
                return at
        return None

    def stand_in(self, name: Iterable[str]) -> bool:
        """Say whether one of them is in the words of a name."""
        return self.rank(name) is not None

    def mean(self, cell: str) -> bool:
        """Say whether a whole cell is one of them."""
        plain = " ".join(folded(cell).split())
        return any(_fits(each, plain) for each in self.listed)


@lru_cache(maxsize=20_000)
def _fits(pattern: str, word: str) -> bool:
    """Say whether a word is one of the rule book's; only a star matches other letters."""
    return re.fullmatch(re.escape(pattern).replace(r"\*", ".*"), word) is not None


def _words(value: Any) -> Any:
    return Words(tuple(value)) if isinstance(value, list) else value


Listed = Annotated[Words, BeforeValidator(_words)]
_NONE = Words(())


class _Table(TomlModel):
    model_config = ConfigDict(arbitrary_types_allowed=True)


class ColumnRule(_Table):
    """How a column of a stream tends to look; the head of the rule book explains each key."""

    holds: Literal["numbers", "names", "choice", "words", "text", "levels"]
    words: Listed
    weak: Listed = _NONE
    unless: Listed = _NONE
    middle: tuple[float, float] | None = None
    unit: Literal["min"] | None = None


class StreamRule(_Table):
    """How a file of a stream tends to look; the head of the rule book explains each key."""

    speaks: Listed
    unless: Listed = _NONE
    essential: tuple[str, ...] = ()
    times: Literal["moment", "span", "either"] = "moment"
    middle: tuple[float, float] = (0, 1440)
    columns: dict[str, ColumnRule]


class LevelWords(_Table):
    """Words for a level, the lowest first, and what only tunes."""

    words: tuple[Listed, ...]
    counts_from: float
    for_min: float
    join_gaps_min: float

    def of(self, cell: str) -> int | None:
        """Return the level that a word means, from 0, or None."""
        return next((at for at, each in enumerate(self.words) if each.mean(cell)), None)


class Limits(_Table):
    """Where a proposal is doubted; the rule book explains each."""

    loss_reported: float
    loss_refused: float
    sampled_every_min: float
    most_steps_a_minute: float
    most_sensors: int
    fewest_nights: int
    share_of_nights: float
    not_yet_asleep_min: int


class Exports(_Table):
    """The whole rule book."""

    times: dict[str, Listed]
    units: dict[str, Listed]
    words: dict[str, Listed]
    levels: LevelWords
    limits: Limits
    streams: dict[str, StreamRule]

    def unit_of_time(self, name: Sequence[str]) -> str | None:
        """Return the one unit of time that the words of a name say, or None."""
        named = [unit for unit, words in self.units.items() if words.stand_in(name)]
        return named[0] if len(named) == 1 else None

    def says_length(self, name: Sequence[str]) -> bool:
        """Say whether the words of a name are about a length of time, not its start or end."""
        rules = [x for rule in self.streams.values() for x in rule.columns.values() if x.unit]
        some = self.times["duration"].stand_in(name) or any(x.words.stand_in(name) for x in rules)
        return some and not any(self.times[x].stand_in(name) for x in ("start", "end"))


def read_exports(practice: Path | None) -> Exports:
    """Return the practice's own rule book of exports, or the one that comes with the program.

    Raises:
        MinerError: it cannot be read, or a key in it is wrong.
    """
    own = None if practice is None else practice / "rules" / "exports.toml"
    shipped = resources.folder("rules") / "exports.toml"
    return read_toml(own if own is not None and own.is_file() else shipped, Exports)
