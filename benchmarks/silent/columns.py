"""Columns under other names, in other places, or one row off."""

from __future__ import annotations

from benchmarks.silent.files import File
from benchmarks.silent.way import (
    EVERY,
    ROWS,
    TIME,
    UNIT,
    Rng,
    way,
)


def exchanged(file: File, one: str, two: str) -> File | None:
    """Write two columns under each other's names."""
    if one not in file.columns or two not in file.columns:
        return None
    new, a, b = file.copy(), file.at(one), file.at(two)
    for row in new.rows:
        row[a], row[b] = row[b], row[a]
    return new


@way("begin and end change places", "sleep stress activity", "end|before|start")
def _begin_end(file: File, _: Rng) -> File | None:
    return exchanged(file, "start", "end")


@way("asleep and awake change places", "sleep", "asleep|awake|in bed|stages|parts")
def _asleep_awake(file: File, _: Rng) -> File | None:
    return exchanged(file, "asleep_min", "awake_min")


@way("carbohydrate and energy change places", "meals", UNIT + "|energy|parts")
def _carbs_energy(file: File, _: Rng) -> File | None:
    return exchanged(file, "carbs_g", "energy_kcal")


@way(
    "carbohydrate and protein change places",
    "meals",
    "carb|protein",
    "both are grams, and 4 kcal a gram",
)
def _carbs_protein(file: File, _: Rng) -> File | None:
    return exchanged(file, "carbs_g", "protein_g")


@way(
    "deep and dream sleep change places",
    "sleep",
    "deep|rem",
    "both are minutes of one night, of like size",
)
def _deep_dream(file: File, _: Rng) -> File | None:
    return exchanged(file, "deep_min", "rem_min")


@way("time and value change places", "glucose meals tags", TIME + "|column|number")
def _time_value(file: File, _: Rng) -> File | None:
    return exchanged(file, "time", file.columns[1])


@way("numbers one row below their times", "sleep", "asleep|awake|in bed|stages|parts")
def _one_below(file: File, _: Rng) -> File | None:
    new = file.copy()
    for at in range(len(new.rows) - 1, 0, -1):
        new.rows[at][2:] = new.rows[at - 1][2:]
    return new


@way(
    "readings one row below their times",
    "glucose",
    "time",
    "a trace five minutes late is as smooth",
)
def _one_below_glucose(file: File, _: Rng) -> File | None:
    new = file.copy()
    for at in range(len(new.rows) - 1, 0, -1):
        new.rows[at][1:] = new.rows[at - 1][1:]
    return new


@way("columns in another order", EVERY, ROWS)
def _other_order(file: File, rng: Rng) -> File | None:
    order = [int(at) for at in rng.permutation(len(file.columns))]
    return file.copy(
        columns=[file.columns[at] for at in order],
        rows=[[row[at] for at in order] for row in file.rows],
    )


@way("a column renamed", EVERY, "column|header")
def _renamed(file: File, rng: Rng) -> File | None:
    names = list(file.names())
    names[int(rng.integers(len(names)))] = "Spalte 7"
    return file.copy(header=names)


@way("capitals in the header", EVERY, "column|header")
def _capitals(file: File, _: Rng) -> File | None:
    return file.copy(header=[name.upper() for name in file.names()])


@way("no header", EVERY, "column|header")
def _no_header(file: File, _: Rng) -> File | None:
    return file.copy(lines=file.text()[1:])


@way("the header again in the middle", EVERY, TIME + "|number|header|" + ROWS)
def _header_again(file: File, _: Rng) -> File | None:
    lines = file.text()
    middle = len(lines) // 2
    return file.copy(lines=[*lines[:middle], lines[0], *lines[middle:]])
