"""The growing proposal: keys chosen so far, each with its reason, and what is asked."""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from pydantic import TypeAdapter, ValidationError

from miner.core.messages import MinerError, closest
from miner.core.results.mapping import Known, Option, Undecided
from miner.records.read.sources import Source
from miner.records.read.toml_file import expected_of

if TYPE_CHECKING:
    from miner.records.propose.exports import Exports

TABLES = ("where", "columns", "units", "constants", "levels", "meals", "episodes")
_LISTS = ("not_measured",)
_NUMBERS = ("episodes.at_least", "episodes.for_min", "episodes.join_gaps_min")


@dataclass(slots=True)
class Notes:
    """Keys of the entry with their reasons; an answer of a person comes before any of them.

    Attributes:
        book: how files tend to look.
        answers: what a person said, by key; taken out as it is used.
        entry: the entry, with its tables.
    """

    book: Exports
    answers: dict[str, str] = field(default_factory=dict)
    entry: dict[str, Any] = field(default_factory=dict)
    known: list[Known] = field(default_factory=list)
    questions: list[Undecided] = field(default_factory=list)

    def copy(self, answers: dict[str, str]) -> Notes:
        """Return notes that go on from these, with answers of their own."""
        known, questions = list(self.known), list(self.questions)
        return Notes(self.book, answers, deepcopy(self.entry), known, questions)

    def get(self, key: str) -> Any:
        """Return what stands under a key such as ``columns.time``, or None."""
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

    def choose(self, key: str, value: Any, code: str, **facts: Any) -> None:
        """Set a key for a reason; one that keeps its default (None) is told and not written."""
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
            MinerError: the answer is none of the options.
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
            raise no_option(key, given, [each.value for each in options])
        for name, value in chosen[0].sets.items() if chosen else ():
            self.put(name, value)
        return chosen[0].value if chosen else given

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

    def table(self) -> dict[str, Any]:
        """Return the entry, its tables last and those without keys left out."""
        plain = {key: value for key, value in self.entry.items() if key not in TABLES}
        tables = {key: dict(self.entry[key]) for key in TABLES if self.entry.get(key)}
        return plain | tables


def no_option(key: str, given: str, known: Sequence[str]) -> MinerError:
    """Return the refusal of an answer that is none of those there are."""
    close = closest(given, known)
    return MinerError("records.set_no_option", key=key, text=given, known=list(known), close=close)


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
