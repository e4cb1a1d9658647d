"""Records of two people."""

from __future__ import annotations

from datetime import timedelta

from benchmarks.silent.files import File, make_client
from benchmarks.silent.way import (
    PEOPLE,
    Rng,
    moved,
    way,
)


@way("another person's readings between", "glucose", PEOPLE + "|body|faster")
def _two_people(file: File, rng: Rng) -> File | None:
    new, other = file.copy(), _other_person(file, rng)
    shift = timedelta(minutes=int(rng.integers(1, 5)))
    rows = [[row[0] + shift, *row[1:]] for row in other.rows]  # type: ignore[operator]
    return new.copy(rows=sorted(new.rows + rows, key=lambda row: row[0]))  # type: ignore[arg-type, return-value]


@way(
    "another person's week in the middle",
    "glucose",
    PEOPLE,
    "a file holds no face: one trace follows another",
)
def _other_week(file: File, rng: Rng) -> File | None:
    new, other = file.copy(), _other_person(file, rng)
    third = len(new.rows) // 3
    return new.copy(rows=new.rows[:third] + other.rows[third : 2 * third] + new.rows[2 * third :])


@way("another person's nights between", "sleep", PEOPLE + "|overlap|one night|two records")
def _two_sleepers(file: File, rng: Rng) -> File | None:
    other = _other_person(file, rng)
    return file.copy(rows=sorted(file.rows + other.rows, key=lambda row: row[:2]))  # type: ignore[arg-type, return-value]


def _other_person(file: File, rng: Rng) -> File:
    molar = "glucose_mmol_l" in file.columns
    other = make_client(int(rng.integers(1000, 1100)) * 4, file.style, molar=molar)[file.stream]
    first, begin = file.rows[0][0], other.rows[0][0]
    days = timedelta(days=(first.date() - begin.date()).days)  # type: ignore[union-attr]
    return moved(other, days)
