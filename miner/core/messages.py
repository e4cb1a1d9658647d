"""What is said of a fact, and what goes wrong with input: a code with its values.

The lower layers make messages and errors; :mod:`miner.words.texts` holds a text for each code.
Whoever opens a door (the package itself, when it is imported) says where texts come from.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import Any


class Severity(StrEnum):
    """How much a finding in the records matters."""

    STOP = "stop"
    LEFT_OUT = "left_out"
    NOTE = "note"
    QUESTION = "question"


Texts = Callable[[str, Mapping[str, object], Any], Mapping[str, str]]

_texts: list[Texts] = []


def texts_from(texts: Texts) -> None:
    """Take all texts from this function: a code, its values, the rule books to texts by part."""
    _texts[:] = [texts]


def texts_of(code: str, values: Mapping[str, object], rules: Any = None) -> Mapping[str, str]:
    """Return the texts of a code, filled in, by part ("text"; "found", "expected", "do")."""
    return _texts[0](code, values, rules)


@dataclass(frozen=True, repr=False)
class Message:
    """One thing to say, as a code with its values.

    Attributes:
        code: the layer and the kind, such as ``records.archive_damaged``.
        values: what the text names: numbers, words, other messages or lists of them.
        rules: the rule books, where the text or a name in it comes from them.
    """

    code: str
    values: Mapping[str, object] = field(default_factory=dict)
    rules: Any = field(default=None, compare=False, repr=False)

    def __hash__(self) -> int:
        known = [each for each in self.values.items() if isinstance(each[1], int | float | str)]
        return hash((self.code, frozenset(known)))

    def __repr__(self) -> str:
        return f"<{self.code}: {self}>"

    def __str__(self) -> str:
        """Return its text, as the command line says it; of an error or a finding what was found."""
        said = texts_of(self.code, self.values, self.rules)
        return said.get("text") or said.get("what") or said["found"]


def message(code: str, **values: object) -> Message:
    """Return a message with its values by name."""
    return Message(code, values)


def by_rules(rules: object, code: str, **values: object) -> Message:
    """Return a message in the words of these rule books.

    Args:
        rules: the rule books.
        code: ``wording.TABLE.KEY`` of their wording, ``cautions.KEY``, or ``labels.KIND`` for a
            name in them.
        values: by name.
    """
    return Message(code, values, rules)


Words = Message | str
"""What is said: a message, or words that somebody else wrote."""


class MinerError(Exception):
    """Bad input or usage: where, what was found, what was expected, what to do.

    Args:
        code: the layer and the kind, such as ``records.archive_damaged``; its texts are in
            ``miner/words/texts``.
        file: the file it is about, or None.
        row: the line of that file, counted from 1 as an editor shows it, or None.
        values: what the texts name; ``close`` is the nearest known word, where there is one.
    """

    def __init__(
        self,
        code: str,
        *,
        file: str | Path | None = None,
        row: int | None = None,
        **values: object,
    ) -> None:
        self.code = code
        self.values = values
        self.file = None if file is None else printable(str(file))
        self.row = row
        super().__init__(code)

    def __reduce__(self) -> tuple[object, ...]:
        values: dict[str, Any] = dict(self.values)
        return partial(type(self), file=self.file, row=self.row, **values), (self.code,)

    def __str__(self) -> str:
        return self.message

    def as_message(self) -> Message:
        """Return it as a message that others may hold: ``{why:found}``, ``{why:do}``."""
        return Message(self.code, self.values)

    @property
    def found(self) -> str:
        """What is there now."""
        return texts_of(self.code, self.values)["found"]

    @property
    def expected(self) -> str:
        """What would have been right."""
        return texts_of(self.code, self.values)["expected"]

    @property
    def do(self) -> str:
        """The next step for the person who reads this."""
        return texts_of(self.code, self.values)["do"]

    @property
    def message(self) -> str:
        """The four parts in whole sentences on one line."""
        found, *others = self.sentences
        place = [self.file] if self.file else []
        if self.row is not None:
            place.append(f"row {self.row}")
        if place:
            found = f"{', '.join(place)}: {_stop(self.found)}"
        return " ".join([found, *others])

    @property
    def sentences(self) -> tuple[str, str, str]:
        """What was found, what was expected and what to do, in whole sentences."""
        found = _stop(self.found)
        return f"{found[:1].upper()}{found[1:]}", f"Expected {_stop(self.expected)}", _stop(self.do)


VALUE_KINDS = (
    "bool_parsing",
    "bool_type",
    "dict_type",
    "float_parsing",
    "float_type",
    "greater_than",
    "greater_than_equal",
    "int_from_float",
    "int_parsing",
    "int_type",
    "less_than",
    "less_than_equal",
    "list_type",
    "literal_error",
    "model_type",
    "string_pattern_mismatch",
    "string_too_long",
    "string_too_short",
    "string_type",
    "too_long",
    "tuple_type",
)
"""What the checks of values say of themselves and has a text of its own."""


def expected_of(wrong: Mapping[str, Any]) -> Message:
    """Return what is expected of a value.

    Args:
        wrong: "type", "ctx" and "msg" as a check of values reports them; a check of this program
            has a code as its type.
    """
    kind, facts = wrong["type"], wrong.get("ctx", {})
    if "." in kind:
        return Message(kind, facts)
    if kind in VALUE_KINDS:
        return Message(f"core.{kind}", facts)
    return message("core.said_of_a_value", said=wrong["msg"])


def printable(name: str) -> str:
    """Return the name of a file or folder as text that can be written: odd bytes are replaced."""
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def closest(word: str, known: Iterable[str]) -> str | None:
    """Return the nearest known word, or None."""
    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return close[0] if close else None


def several(count: int, one: str, many: str | None = None) -> str:
    """Return a count with its noun: ``1 day``, ``2 days``, or with ``many`` ``2 entries``."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def _stop(text: str) -> str:
    text = text.strip()
    return text if text.endswith((".", "?", "!")) else f"{text}."
