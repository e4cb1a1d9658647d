"""Numbers that are spelt otherwise, cut, filled or stuck."""

from __future__ import annotations

from dataclasses import replace

from benchmarks.silent.files import File
from benchmarks.silent.way import (
    NUMBER,
    ROWS,
    UNIT,
    Rng,
    scaled,
    way,
)


@way("decimal commas in the place of points", "glucose meals sleep", NUMBER)
def _commas(file: File, rng: Rng) -> File | None:
    if file.style.decimal == ",":
        return None
    file = _with_fractions(file, rng)
    return file.copy(style=replace(file.style, decimal=","))


@way("decimal points in the place of commas", "glucose meals sleep", NUMBER)
def _points(file: File, rng: Rng) -> File | None:
    if file.style.decimal == ".":
        return None
    file = _with_fractions(file, rng)
    return file.copy(style=replace(file.style, decimal="."))


def _with_fractions(file: File, rng: Rng) -> File:
    new = file.copy()
    if file.stream == "glucose" and "glucose_mmol_l" in file.columns:
        return new
    for row in new.rows:
        for place, value in enumerate(row):
            if isinstance(value, float):
                row[place] = value + round(float(rng.integers(1, 9)) / 10, 1)
    return new


@way("unquoted decimal commas in a file of commas", "glucose meals", ROWS + "|" + NUMBER)
def _bare_commas(file: File, rng: Rng) -> File | None:
    if file.style.delimiter != ",":
        return None
    new = _with_fractions(file, rng)
    lines = new.text()
    at = [place for place, name in enumerate(file.columns) if name not in ("time", "label")]
    for number, line in enumerate(lines[1:], 1):
        cells = line.split(",")
        if len(cells) == len(file.columns):
            lines[number] = ",".join(
                cell.replace(".", ",") if place in at else cell for place, cell in enumerate(cells)
            )
    return new.copy(lines=lines)


@way("the decimal sign is lost", "glucose", UNIT)
def _no_point(file: File, _: Rng) -> File | None:
    return scaled(file, ("glucose_mmol_l",), 10, slice(None), 0)


@way("the decimal sign is lost in some rows", "glucose", NUMBER + "|body|changed faster|unit")
def _no_point_somewhere(file: File, rng: Rng) -> File | None:
    new = file.copy()
    if "glucose_mmol_l" not in file.columns:
        return None
    for at in rng.choice(len(new.rows), 12, replace=False):
        if isinstance(new.rows[at][1], float):
            new.rows[at][1] = float(round(new.rows[at][1] * 10))
    return new


@way("a digit typed twice in some rows", "glucose", NUMBER + "|body|changed faster")
def _doubled(file: File, rng: Rng) -> File | None:
    new = file.copy()
    for at in rng.choice(len(new.rows), 6, replace=False):
        value = new.rows[at][1]
        if isinstance(value, float):
            text = f"{value:g}"
            new.rows[at][1] = float(text[0] + text)
    return new


@way("readings cut to two characters", "glucose", NUMBER + "|body|changed faster|two")
def _two_characters(file: File, _: Rng) -> File | None:
    new = file.copy()
    if "glucose_mg_dl" not in file.columns:
        return None
    for row in new.rows:
        if isinstance(row[1], float):
            row[1] = float(f"{row[1]:g}"[:2])
    return new


@way("minutes asleep cut to two characters", "sleep", UNIT + "|in bed|asleep")
def _two_characters_asleep(file: File, _: Rng) -> File | None:
    new, at = file.copy(), file.at("asleep_min")
    for row in new.rows:
        if isinstance(row[at], float):
            row[at] = float(f"{row[at]:g}"[:2])
    return new


@way("thousands with a comma", "meals", NUMBER + "|energy")
def _thousands_comma(file: File, _: Rng) -> File | None:
    return _thousands(file, ",")


@way("thousands with a point", "meals", NUMBER + "|energy")
def _thousands_point(file: File, _: Rng) -> File | None:
    return _thousands(file, ".")


@way("thousands with a space", "meals", NUMBER + "|energy")
def _thousands_space(file: File, _: Rng) -> File | None:
    return _thousands(file, "\N{NO-BREAK SPACE}")


def _thousands(file: File, mark: str) -> File | None:
    at, done, new = file.at("energy_kcal"), False, file.copy()
    for row in new.rows:
        if isinstance(row[at], float) and row[at] >= 1000:
            row[at], done = f"{row[at]:,.0f}".replace(",", mark), True
    return new if done else None


@way("-1 where nothing was measured", "glucose sleep meals", NUMBER)
def _minus_one(file: File, _: Rng) -> File | None:
    return _filled(file, -1.0)


@way("a zero where nothing was noted", "meals", "0|zero", "a meal of 0 g looks like a meal of 0 g")
def _zeros(file: File, _: Rng) -> File | None:
    return _filled(file, 0.0)


def _filled(file: File, value: float) -> File | None:
    new, done = file.copy(), False
    numbers = [at for at, name in enumerate(file.columns) if name.endswith(("_g", "_min", "_kcal"))]
    for row in new.rows:
        for at in numbers:
            if row[at] is None:
                row[at], done = value, True
    if file.stream == "glucose":
        for at in range(0, len(new.rows), 97):
            new.rows[at][1], done = value, True
    return new if done else None


@way("one number in every row of a column", "sleep meals", "var(y|ies)|in all|add up|in bed|asleep")
def _stuck(file: File, rng: Rng) -> File | None:
    name = {"sleep": "asleep_min", "meals": "carbs_g"}[file.stream]
    new, at = file.copy(), file.at(name)
    known = [row[at] for row in new.rows if isinstance(row[at], float)]
    value = known[int(rng.integers(len(known)))]
    for row in new.rows:
        row[at] = value
    return new


@way("words for levels", "stress", "level|number|word")
def _level_words(file: File, _: Rng) -> File | None:
    new, at = file.copy(), file.at("level")
    for row in new.rows:
        if isinstance(row[at], float):
            row[at] = "low" if row[at] < 60 else "medium" if row[at] < 80 else "high"
    return new


@way("LO and HI in another language", "glucose", NUMBER)
def _foreign_words(file: File, rng: Rng) -> File | None:
    new = file.copy()
    for at in rng.choice(len(new.rows), 5, replace=False):
        new.rows[at][1] = "BAIXO"
    return new
