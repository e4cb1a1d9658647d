"""The practitioner's notes on days and sessions: a text for people that reads back to the letter.

A note is a heading (``## Day 2026-02-03, entered 2026-02-05T10:11:12+00:00``) and its words, each
line after ``> ``. What people type below a heading without that mark is part of the note too.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import partial
from itertools import pairwise
from pathlib import Path

from miner.core.facts import Note
from miner.records.write.corrections import raw_of, text_of

NAME = "notes.md"
TITLE = "# Notes\n"
_text = partial(text_of, name=NAME, code="records.notes_not_utf8")
_HEADING = re.compile(r"##\x20(Day|Session)\x20(\d{4}-\d\d-\d\d)(?:,\x20entered\x20(\S+))?[ \t]*")


def read_notes(folder: Path) -> tuple[Note, ...]:
    """Return the notes in the order of the file; none without a file.

    Raises:
        MinerError: it is a link, or no text.
    """
    return notes_in(raw_of(folder, NAME))


def notes_in(raw: bytes) -> tuple[Note, ...]:
    """Return the notes of a file.

    Raises:
        MinerError: it is not text.
    """
    lines = [line.removesuffix("\r") for line in _text(raw).split("\n")]
    found = []
    for first, after in _sections(lines):
        heading = _HEADING.fullmatch(lines[first])
        if heading:
            about, date, entered = heading.groups()
            text = _words(lines[first + 1 : after])
            found.append(Note(about.casefold(), date, entered or "", text, first + 1))
    return tuple(found)


def with_note(raw: bytes, note: Note) -> bytes:
    """Return the file with one note more at its end; what is in it stays byte for byte."""
    raw = raw or TITLE.encode()
    gap = "\n" if raw.endswith(b"\n") else "\n\n"
    words = "".join(f"> {line}\n" if line else ">\n" for line in note.text.split("\n"))
    head = f"## {note.about.capitalize()} {note.date}" + f", entered {note.entered}"
    return raw + f"{gap}{head}\n\n{words}".encode()


def without_note(raw: bytes, note: Note) -> bytes:
    """Return the file without one of its notes; the rest stays byte for byte."""
    lines = raw.split(b"\n")
    texts = [line.removesuffix("\r") for line in _text(raw).split("\n")]
    first, after = next(pair for pair in _sections(texts) if pair[0] == note.row - 1)
    return b"\n".join([*lines[:first], *lines[after:]])


def _sections(lines: Sequence[str]) -> list[tuple[int, int]]:
    """Return the line of each heading and that after its section, from 0."""
    heads = [at for at, line in enumerate(lines) if line.startswith(("# ", "## "))]
    return list(pairwise([*heads, len(lines)]))


def _words(lines: Sequence[str]) -> str:
    inked = [at for at, line in enumerate(lines) if line.strip()]
    body = lines[inked[0] : inked[-1] + 1] if inked else []
    quoted = ((line.startswith(">"), line) for line in body)
    return "\n".join(line[1:].removeprefix(" ") if marked else line for marked, line in quoted)
