"""Rows cut, repeated, out of order, and files of another shape."""

from __future__ import annotations

from dataclasses import replace

from benchmarks.silent.files import File
from benchmarks.silent.way import (
    EVERY,
    ROWS,
    SHAPE,
    TIME,
    Rng,
    way,
)


@way("the newest row first", EVERY, ROWS)
def _reversed(file: File, _: Rng) -> File | None:
    return file.copy(rows=file.rows[::-1])


@way("rows in no order", EVERY, ROWS)
def _shuffled(file: File, rng: Rng) -> File | None:
    new = file.copy()
    return new.copy(rows=[new.rows[int(at)] for at in rng.permutation(len(new.rows))])


@way("a stretch of rows twice", "glucose sleep stress meals tags activity", "twice|again|once")
def _twice(file: File, _: Rng) -> File | None:
    third = len(file.rows) // 3
    return file.copy(rows=file.rows[: 2 * third] + file.rows[third:])


@way("cut within a row", EVERY, ROWS + "|" + TIME + "|number|cut")
def _cut_within(file: File, rng: Rng) -> File | None:
    row = _middle(file)[-1]
    return _cut(file, 4, row.rfind(file.style.delimiter) + 1, rng)


@way("cut within the last cell of a row", EVERY, "cut", "half a number or word may be a whole one")
def _cut_in_last(file: File, rng: Rng) -> File | None:
    row = _middle(file)[-1]
    return _cut(file, row.rfind(file.style.delimiter) + 2, len(row), rng)


def _middle(file: File) -> list[str]:
    """Return the lines up to the middle row."""
    return file.text()[: (len(file.rows) + 1) // 2 + 1]


def _cut(file: File, least: int, most: int, rng: Rng) -> File | None:
    """End a file within its middle row, of which so many characters are kept, fewer than most."""
    lines = _middle(file)
    if most <= least:
        return None
    lines[-1] = lines[-1][: int(rng.integers(least, most))]
    return file.copy(raw="\n".join(lines).encode(file.style.encoding))


@way("cut after a row", EVERY, "cut", "a file that ends early is a shorter file")
def _cut_after(file: File, _: Rng) -> File | None:
    return file.copy(rows=file.rows[: len(file.rows) // 2])


@way("trailing cells left off", "sleep meals activity", ROWS + "|short")
def _short(file: File, rng: Rng) -> File | None:
    lines = file.text()
    done = False
    for at in rng.choice(len(lines) - 1, min(8, len(lines) - 1), replace=False):
        cells = lines[at + 1].split(file.style.delimiter)
        if '"' not in lines[at + 1] and any(cells[-2:]):
            lines[at + 1], done = file.style.delimiter.join(cells[:-2]), True
    return file.copy(lines=lines) if done else None


@way("unquoted delimiters in labels", "meals", ROWS)
def _bare_delimiter(file: File, rng: Rng) -> File | None:
    lines = file.text()
    for at in rng.choice(len(lines) - 1, 5, replace=False):
        lines[at + 1] = (
            lines[at + 1]
            .replace("breakfast", f"egg{file.style.delimiter} bread")
            .replace("dinner", f"soup{file.style.delimiter} fish")
            .replace("lunch", f"rice{file.style.delimiter} peas")
            .replace("snack", f"a{file.style.delimiter} b")
        )
    return file.copy(lines=lines)


@way("a stray quote over several rows", "meals tags", ROWS)
def _stray_quote(file: File, rng: Rng) -> File | None:
    lines, at = file.text(), file.columns.index("label" if file.stream == "meals" else "tag")
    if len(lines) < 8:
        return None
    first = int(rng.integers(1, len(lines) - 4))
    for number, before in ((first, True), (first + 3, False)):
        cells = lines[number].split(file.style.delimiter)
        cells[at] = f'"{cells[at]}' if before else f'{cells[at]}"'
        lines[number] = file.style.delimiter.join(cells)
    return file.copy(lines=lines)


@way("lines of totals below", EVERY, ROWS + "|" + TIME)
def _totals(file: File, _: Rng) -> File | None:
    fill = file.style.delimiter * (len(file.columns) - 2)
    return file.copy(lines=[*file.text(), f"Total{file.style.delimiter}{len(file.rows)}{fill}"])


@way("lines of a title above", EVERY, "column|header")
def _title(file: File, _: Rng) -> File | None:
    return file.copy(lines=["Report of all records", "", *file.text()])


@way("another delimiter", EVERY, SHAPE + "|column")
def _delimiter(file: File, _: Rng) -> File | None:
    other = ";" if file.style.delimiter == "," else ","
    return file.copy(style=replace(file.style, delimiter=other))


@way("UTF-16", EVERY, SHAPE)
def _utf_16(file: File, _: Rng) -> File | None:
    return file.copy(style=replace(file.style, encoding="utf-16"))


@way("a western code page", "meals tags", SHAPE)
def _code_page(file: File, _: Rng) -> File | None:
    new, at = file.copy(), file.columns.index("label" if file.stream == "meals" else "tag")
    for row in new.rows[::3]:
        row[at] = f"{row[at]} caf\N{LATIN SMALL LETTER E WITH ACUTE}"
    return new.copy(style=replace(file.style, encoding="cp1252"))
