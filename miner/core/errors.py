"""What goes wrong with input, as a code with its values; its words are found by the door."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from functools import partial
from pathlib import Path
from typing import Any

from miner.core.messages import Message, texts_of


class MinerError(Exception):
    """Bad input or usage: where, what was found, what was expected, what to do.

    Args:
        code: the room and the kind, such as ``records.archive_damaged``; its texts stand in
            ``miner/words/texts``. (Of what is not yet a code: found, expected, do.)
        file: the file it is about, or None.
        row: the line of that file, counted from 1 as an editor shows it, or None.
        values: what the texts name; ``close`` is the nearest known word, where there is one.
    """

    def __init__(
        self,
        code: str,
        *texts: str,
        file: str | Path | None = None,
        row: int | None = None,
        **values: object,
    ) -> None:
        self.code = "" if texts else code
        self.texts = (code, *texts)
        self.values = values
        self.file = None if file is None else printable(str(file))
        self.row = row
        super().__init__(code)

    def __reduce__(self) -> tuple[object, ...]:
        values: dict[str, Any] = dict(self.values)
        return partial(type(self), file=self.file, row=self.row, **values), self.texts

    def __str__(self) -> str:
        return self.message

    def as_message(self) -> Message:
        """Return it as a message that others may hold: ``{why:found}``, ``{why:do}``."""
        return Message(self.code, self.values)

    @property
    def found(self) -> str:
        """What stands there now."""
        return texts_of(self.code, self.values)["found"] if self.code else self.texts[0]

    @property
    def expected(self) -> str:
        """What would have been right."""
        return texts_of(self.code, self.values)["expected"] if self.code else self.texts[1]

    @property
    def do(self) -> str:
        """The next step for the person who reads this."""
        return texts_of(self.code, self.values)["do"] if self.code else self.texts[2]

    @property
    def message(self) -> str:
        """The four parts in one line of plain words."""
        place = [self.file] if self.file else []
        if self.row is not None:
            place.append(f"row {self.row}")
        head = f"{', '.join(place)}: " if place else ""
        expected = f"Expected: {_stop(self.expected)}"
        return f"{head}{_stop(self.found)} {expected} {_stop(self.do)}"


def printable(name: str) -> str:
    """Return the name of a file or folder as text that can be written: odd bytes are replaced."""
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def closest(word: str, known: Iterable[str]) -> str | None:
    """Return the nearest known word, or None."""
    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return close[0] if close else None


def several(count: int, one: str, many: str | None = None) -> str:
    """Return a count with its noun: ``1 day``, ``2 days``, ``2 entries`` where ``many`` is told."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def _stop(text: str) -> str:
    text = text.strip()
    return text if text.endswith((".", "?", "!")) else f"{text}."
