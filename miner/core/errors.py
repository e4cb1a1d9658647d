"""What goes wrong with input, told in one message a person can act on."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from functools import partial
from pathlib import Path


class MinerError(Exception):
    """Bad input or usage: where, what was found, what was expected, what to do.

    Args:
        found: what stands there now.
        expected: what would have been right.
        do: the next step for the person who reads this.
        file: the file it is about, or None.
        row: the line of that file, counted from 1 as an editor shows it, or None.
    """

    def __init__(
        self,
        found: str,
        expected: str,
        do: str,
        *,
        file: str | Path | None = None,
        row: int | None = None,
    ) -> None:
        self.found = found
        self.expected = expected
        self.do = do
        self.file = None if file is None else printable(str(file))
        self.row = row
        super().__init__(self.message)

    def __reduce__(self) -> tuple[object, ...]:
        placed = partial(type(self), file=self.file, row=self.row)
        return placed, (self.found, self.expected, self.do)

    @property
    def message(self) -> str:
        """The four parts in one line of plain words."""
        place = [self.file] if self.file else []
        if self.row is not None:
            place.append(f"row {self.row}")
        head = f"{', '.join(place)}: " if place else ""
        return f"{head}{_stop(self.found)} Expected: {_stop(self.expected)} {_stop(self.do)}"


def printable(name: str) -> str:
    """Return the name of a file or folder as text that can be written: odd bytes are replaced."""
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def nearest(word: str, known: Iterable[str]) -> str:
    """Return 'Did you mean ...?' for the nearest known word, or an empty text."""
    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f"Did you mean '{close[0]}'?" if close else ""


def several(count: int, one: str, many: str | None = None) -> str:
    """Return a count with its noun: ``1 day``, ``2 days``, ``2 entries`` where ``many`` is told."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def _stop(text: str) -> str:
    text = text.strip()
    return text if text.endswith((".", "?", "!")) else f"{text}."
