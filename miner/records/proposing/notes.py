"""The growing proposal: keys chosen so far, each with its reason, and what stays open."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from miner.results.mapping import Choice, Undecided


@dataclass(slots=True)
class Notes:
    """Keys of the entry, in tables by name, with their reasons.

    Attributes:
        entry: the keys of the entry itself.
        columns, units, constants, episodes: its tables.
    """

    entry: dict[str, Any] = field(default_factory=dict)
    columns: dict[str, str] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    constants: dict[str, str] = field(default_factory=dict)
    episodes: dict[str, Any] = field(default_factory=dict)
    choices: list[Choice] = field(default_factory=list)
    undecided: list[Undecided] = field(default_factory=list)

    def choose(self, key: str, value: Any, reason: str) -> None:
        """Set a key of the entry; one that keeps its default (None) is told and not written."""
        if value is not None:
            self.entry[key] = value
        self.choices.append(Choice(key, "the default" if value is None else str(value), reason))

    def map(self, column: str, own: str, reason: str) -> None:
        """Map a column of the stream to the file's own."""
        self.columns[column] = own
        self.choices.append(Choice(f"columns.{column}", own, reason))

    def unit(self, column: str, unit: str, reason: str) -> None:
        """Set the unit of a mapped column."""
        self.units[column] = unit
        self.choices.append(Choice(f"units.{column}", unit, reason))

    def leave(
        self, key: str, reason: str, options: tuple[str, ...] = (), *, needed: bool = False
    ) -> None:
        """Leave a key to a person."""
        self.undecided.append(Undecided(key, options, reason, needed))

    def table(self) -> dict[str, Any]:
        """Return the entry with its tables, those without keys left out."""
        tables = {
            "columns": self.columns,
            "units": self.units,
            "constants": self.constants,
            "episodes": self.episodes,
        }
        return {**self.entry, **{name: dict(table) for name, table in tables.items() if table}}
