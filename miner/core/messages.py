"""What is said of a fact: a code with its values. Its words are found by the door, not here.

The lower rooms make messages; :mod:`miner.words.texts` holds a text for each code. Whoever opens a
door (the package itself, when it is imported) says where texts come from.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

Texts = Callable[[str, Mapping[str, object]], Mapping[str, str]]

_source: list[Texts] = []


def words_from(source: Texts) -> None:
    """Take the texts of codes from this function: a code and its values to the texts by part."""
    _source[:] = [source]


def texts_of(code: str, values: Mapping[str, object]) -> Mapping[str, str]:
    """Return the texts of a code, filled in, by part ("text"; "found", "expected", "do")."""
    return _source[0](code, values)


@dataclass(frozen=True)
class Message:
    """One thing to say, as a code with its values.

    Attributes:
        code: the room and the kind, such as ``records.archive_damaged``.
        values: what the text names: numbers, words, other messages or lists of them.
    """

    code: str
    values: Mapping[str, object] = field(default_factory=dict)

    def __hash__(self) -> int:
        known = [each for each in self.values.items() if isinstance(each[1], int | float | str)]
        return hash((self.code, frozenset(known)))

    def __str__(self) -> str:
        """Return its text, as the command line says it; of an error or a finding what was found."""
        said = texts_of(self.code, self.values)
        return said.get("text") or said.get("what") or said["found"]


Words = Message | str
"""What is said: a message, or a text that stands in the rule books or was written by somebody."""


def message(code: str, **values: object) -> Message:
    """Return a message with its values by name."""
    return Message(code, values)
