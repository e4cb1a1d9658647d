"""What is said of a fact: a code with its values. Its words are found by the door, not here.

The lower rooms make messages; :mod:`miner.words.texts` holds a text for each code. Whoever opens a
door (the package itself, when it is imported) says where texts come from.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any


class Severity(StrEnum):
    """How much a finding in the records matters."""

    STOP = "stop"
    LEFT_OUT = "left_out"
    NOTE = "note"
    QUESTION = "question"


Texts = Callable[[str, Mapping[str, object], Any], Mapping[str, str]]
Sentences = Callable[[Any, str], Any]

_texts: list[Texts] = []
_sentences: list[Sentences] = []


def words_from(texts: Texts, sentences: Sentences) -> None:
    """Take all words from these functions.

    Args:
        texts: a code, its values and the rule books to the texts by part.
        sentences: a result and the name of what is said of it to its words.
    """
    _texts[:], _sentences[:] = [texts], [sentences]


def texts_of(code: str, values: Mapping[str, object], rules: Any = None) -> Mapping[str, str]:
    """Return the texts of a code, filled in, by part ("text"; "found", "expected", "do")."""
    return _texts[0](code, values, rules)


def sentence_of(fact: object, name: str) -> Any:
    """Return what is said of a result under a name, such as its ``verdict``."""
    return _sentences[0](fact, name)


@dataclass(frozen=True, repr=False)
class Message:
    """One thing to say, as a code with its values.

    Attributes:
        code: the room and the kind, such as ``records.archive_damaged``.
        values: what the text names: numbers, words, other messages or lists of them.
        rules: the rule books, where the text or a name in it stands in them.
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
