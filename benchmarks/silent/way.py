"""Ways in which an export goes wrong, or only looks different, after it was once read rightly.

A mutation changes the files of a client and leaves what was declared of them as it was. Each says
which words name its kind of fault; one that nobody could see from the files says why.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from benchmarks.silent.files import Client, File

Rng = np.random.Generator
Change = Callable[[File, Rng], File | None]
MG_DL = 18.0156
TIME = r"time|date|clock|hour|year|offset|zone"
NUMBER = r"number|decimal|range|unit|impossible|plausible|cannot be"
UNIT = (
    r"unit|mmol|mg/dL|minutes|hours|seconds|impossible|range|cannot be|more than|longer|beside|kJ"
)
ROWS = r"cell|column|row|quote|line|record|header"
PEOPLE = r"people|person|two traces|contradict|same minute|another client|whose"
SHAPE = r"encod|UTF|character|delimiter|column|header|text"


@dataclass(frozen=True)
class Mutation:
    """One way.

    Attributes:
        name: what happens to the file.
        streams: to whose files it happens.
        change: makes the changed file; None where this file cannot go wrong that way.
        says: a pattern of the words that name the kind of fault.
        unseen: why it cannot be seen in these files, or nothing.
    """

    name: str
    streams: tuple[str, ...]
    change: Change
    says: str
    unseen: str = ""


ALL: list[Mutation] = []


def way(name: str, streams: str, says: str, unseen: str = "") -> Callable[[Change], Change]:
    """Enter a mutation in the list."""

    def enter(change: Change) -> Change:
        ALL.append(Mutation(name, tuple(streams.split()), change, says, unseen))
        return change

    return enter


EVERY = "glucose sleep stress activity meals tags"
GLUCOSE = ("glucose_mg_dl", "glucose_mmol_l")


def scaled(
    file: File, names: tuple[str, ...], factor: float, rows: slice, digits: int = 3
) -> File | None:
    """Multiply numbers of some columns; None where the file has none of them."""
    new = file.copy()
    at = [new.columns.index(name) for name in names if name in new.columns]
    done = False
    for row in new.rows[rows]:
        for place in at:
            if isinstance(row[place], float):
                row[place], done = round(row[place] * factor, digits), True
    return new if done else None


def half(file: File) -> slice:
    """Return the second half of the rows."""
    return slice(len(file.rows) // 2, None)


def moved(file: File, by: timedelta, rows: slice = slice(None)) -> File:
    """Move every time of some rows."""
    new = file.copy()
    for row in new.rows[rows]:
        for at, value in enumerate(row):
            if isinstance(value, datetime):
                row[at] = value + by
    return new


def mutate(files: Client, way_: Mutation, stream: str, rng: Rng) -> Client | None:
    """Return the client's files with one of them changed; None where it cannot be."""
    changed = way_.change(files[stream], rng)
    return None if changed is None else {**files, stream: changed}
