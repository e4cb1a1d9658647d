"""The growing proposal: keys chosen so far, each with its reason, and what is asked."""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from math import inf
from typing import TYPE_CHECKING, Any

from pydantic import TypeAdapter, ValidationError

from miner.core.messages import MinerError, closest, expected_of
from miner.core.results.mapping import Known, Option, Undecided
from miner.records.columns import TO_MINUTES
from miner.records.read.sources import Source

if TYPE_CHECKING:
    from miner.records.propose.columns import Column
    from miner.records.propose.exports import Exports

TABLES = ("where", "columns", "units", "constants", "levels", "meals", "episodes")
_LISTS = ("not_measured",)
_NUMBERS = ("episodes.at_least", "episodes.for_min", "episodes.join_gaps_min")


@dataclass(slots=True)
class Notes:
    """Keys of the entry with their reasons. An answer of a person comes before any of them.

    Attributes:
        book: how files tend to look.
        answers: what a person answered, by key. Each is taken out when it is used.
        entry: the entry, with its tables.
    """

    book: Exports
    answers: dict[str, str] = field(default_factory=dict)
    entry: dict[str, Any] = field(default_factory=dict)
    known: list[Known] = field(default_factory=list)
    questions: list[Undecided] = field(default_factory=list)

    def copy(self, answers: dict[str, str]) -> Notes:
        """Return a copy of these notes with other answers."""
        known, questions = list(self.known), list(self.questions)
        return Notes(self.book, answers, deepcopy(self.entry), known, questions)

    def get(self, key: str) -> Any:
        """Return what is under a key such as ``columns.time``, or None."""
        table, _, name = key.partition(".")
        return self.entry.get(table, {}).get(name) if name else self.entry.get(table)

    def put(self, key: str, value: Any) -> None:
        """Set a key such as ``columns.time``; None takes it out."""
        table, _, name = key.partition(".")
        inner = self.entry.setdefault(table, {}) if name else self.entry
        if value is None:
            inner.pop(name or table, None)
        else:
            inner[name or table] = value

    def given(self, key: str) -> Any:
        """Return what a person answered to a key, or None, and keep the answer."""
        return typed(key, self.answers[key]) if self.answers.get(key) else None

    def choose(self, key: str, value: Any, code: str, **facts: Any) -> None:
        """Set a key for a reason; one that keeps its default (None) is reported and not written."""
        if key in self.answers:
            value, code, facts = typed(key, self.answers.pop(key)), "given", {}
        if value is not None:
            self.put(key, value)
        self.known.append(Known(key, "" if value is None else _shown(value), code, facts))

    def ask(
        self,
        key: str,
        code: str,
        options: Sequence[Option] = (),
        *,
        default: str | None = None,
        needed: bool = False,
        **facts: Any,
    ) -> str | None:
        """Ask a person for a key; return the answer there is, or the default.

        Raises:
            MinerError: the answer is not one of the options.
        """
        given = self.answers.pop(key, None)
        if given is None:
            self.questions.append(Undecided(key, code, facts, tuple(options), needed, default))
            given = default
        else:
            self.known.append(Known(key, given, "given", {}))
        if given is None:
            return None
        chosen = [each for each in options if each.value.casefold() == given.strip().casefold()]
        if not chosen and options:
            raise self.no_option(key, given, [each.value for each in options])
        for name, value in chosen[0].sets.items() if chosen else ():
            self.put(name, value)
        return chosen[0].value if chosen else given

    def ask_which(
        self, key: str, among: Sequence[Column], code: str, *, needed: bool
    ) -> str | None:
        """Ask which of the columns is one of the stream, and return the answer if there is one."""
        options = []
        for each in among:
            facts = {"filled": each.filled, "shown": next(iter(each.counts), "")}
            sets = {} if key in ("glucose", "time_of_day") else {f"columns.{key}": each.name}
            options.append(Option(each.name, sets, "cells", facts))
        return self.ask(f"columns.{key}", code, options, needed=needed)

    def choose_unit(
        self, key: str, column: Column, middle: tuple[float, float] | None, *, needed: bool = False
    ) -> bool:
        """Choose the unit of a column of minutes by its name and values; say whether it is known.

        Args:
            key: the column of the stream.
            column: the file's own.
            middle: where the middle of its values is, in minutes.
            needed: without a unit the entry cannot be used.
        """
        said, (low, high) = column.unit, middle or (0, inf)
        fits = [x for x, scale in TO_MINUTES.items() if low <= column.middle * scale <= high]
        facts: dict[str, Any] = {"column": column.name, "middle": column.middle, "said": said or ""}
        if said in fits or (said is None and len(fits) == 1):
            unit, code = said or fits[0], "unit_by_name" if said else "unit_by_values"
            usual = unit == "min" and key != "duration"
            self.choose(f"units.{key}", None if usual else unit, code, **facts)
            return True
        options = [Option(unit, {f"units.{key}": unit}) for unit in TO_MINUTES]
        code = "unit_contradicts" if said else "unit_unknown"
        return self.ask(f"units.{key}", code, options, needed=needed, **facts) is not None

    def finish(self) -> None:
        """Set what a person said of keys that nothing else asked for."""
        for key in list(self.answers):
            self.questions = [
                item
                for item in self.questions
                if not any(key in option.sets for option in item.options)
            ]
            self.put(key, typed(key, self.answers.pop(key)))
            self.known = [item for item in self.known if item.key != key]
            self.known.append(Known(key, _shown(self.get(key)), "given", {}))

    @staticmethod
    def no_option(key: str, given: str, known: Sequence[str]) -> MinerError:
        """Return the error for an answer that is not one of the options."""
        known, close = list(known), closest(given, known)
        code = "records.set_no_option"
        return MinerError(code, key=key, text=given, known=known, close=close)

    def table(self) -> dict[str, Any]:
        """Return the entry, its tables last and those without keys left out."""
        plain = {key: value for key, value in self.entry.items() if key not in TABLES}
        tables = {key: dict(self.entry[key]) for key in TABLES if self.entry.get(key)}
        return plain | tables


def typed(key: str, text: str) -> Any:
    """Return what a person wrote for a key, as TOML would hold it.

    Raises:
        MinerError: it is not what belongs there.
    """
    if key in TABLES:
        raise MinerError("records.set_without_key", key=key, text=text)
    if key in _LISTS or key.startswith("where."):
        return [part.strip() for part in text.split(",")]
    if key == "delimiter" and text in ("tab", "\\t"):
        return "\t"
    field = Source.model_fields.get(key)
    kind = TypeAdapter(field.rebuild_annotation() if field else float if key in _NUMBERS else str)
    try:
        value = kind.validate_strings(text.replace(",", ".") if key in _NUMBERS else text)
    except ValidationError as error:
        expected = expected_of(error.errors()[0])
        raise MinerError("records.set_wrong", key=key, text=text, expected=expected) from error
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _shown(value: Any) -> str:
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)
