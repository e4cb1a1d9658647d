"""What a practitioner wrote of a client, said back: corrections, notes, how each is read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from pathlib import Path
from shlex import quote
from typing import Any

from miner.core.errors import several
from miner.core.results import CorrectionMade, Note, Notebook, ReadAs
from miner.words.document import Parts, command, heading, own_words, paragraph, section
from miner.words.safe import clean
from miner.words.wording import MONTHS

ACTIONS = {
    "added": "added",
    "mended": "changed",
    "taken_out": "taken out",
    "taken_back": "taken back",
}
NUTRIENTS = {"carbs": "carbohydrate", "protein": "protein", "fat": "fat", "fibre": "fibre"}
COUNTED = {
    "medicine": "It names a medicine, so it is never counted as a habit.",
    "pregnancy": "It names a pregnancy, so it is never counted as a habit.",
    "illness": "It names an illness: days near it are left out of a ranking.",
}


def written_parts(made: CorrectionMade | Note, client: Path) -> Parts:
    """Return what was just written, how it is read, and how to take it back.

    Args:
        made: what was written, or a note that was taken back.
        client: the client's folder, as it was typed.
    """
    undo = f"miner note {quote(str(client))} --undo"
    if isinstance(made, Note):
        if not made.row:
            return [heading(f"The note is taken back: {_about(made)}."), *_words(made)]
        title = heading(f"Noted, in notes.md: {_about(made)}.")
        return [title, *_words(made), *_back(undo)]
    lead = f"The {_one(made)} is {ACTIONS[made.action]}: corrections.csv, row {made.row}."
    parts: Parts = [heading(f"{lead} The client's own files stay as they are.")]
    if made.before:
        place = f" ({made.place.file}, row {made.place.row})" if made.place else ""
        lead = "It said: " if made.action == "taken_back" else "Before: "
        parts.append(paragraph(f"{lead}{record_words(made.before)}{place}", 2))
    if made.now:
        parts.append(paragraph(f"{'Now: ' * bool(made.before)}{record_words(made.now)}", 2))
    if made.read_as:
        parts.append(paragraph(read_words(made.read_as)))
    if made.action != "taken_back":
        parts += _back(f"{undo} {made.row}")
    return parts


def _back(text: str) -> Parts:
    return [paragraph("To take it back:"), command(text)]


def notebook_parts(book: Notebook) -> Parts:
    """Return everything that was written of a client."""
    held = sum(item.in_force for item in book.corrections)
    parts: Parts = [
        heading(
            f"{clean(book.client, 60)}: {several(held, 'correction')} in force, "
            f"{several(len(book.notes), 'note')}."
        )
    ]
    parts += section("Meals and tags (corrections.csv)", [_line(i) for i in book.corrections])
    return [*parts, *section("Notes (notes.md)", notes_parts(book.notes))]


def notes_parts(notes: Iterable[Note]) -> Parts:
    """Return notes: what each is about, when it was written, its words."""
    parts: Parts = []
    for note in notes:
        entered = f", noted on {_day(note.entered[:10])}" if note.entered else ""
        about = _about(note)
        parts += [paragraph(f"{about[:1].upper()}{about[1:]}{entered}:", 2), *_words(note, 4)]
    return parts


def record_words(values: Mapping[str, Any]) -> str:
    """Return a meal or a tag in words, from the columns it gives.

    Args:
        values: the stream's columns, as text or as read.
    """
    told = [clean(values[name], 200) for name in ("tag", "label", "meal") if values.get(name)]
    for name, word in NUTRIENTS.items():
        if values.get(f"{name}_g") not in (None, ""):
            told.append(f"{_amount(values[f'{name}_g'])} g {word}")
        if values.get(f"{name}_level"):
            told.append(f"{clean(values[f'{name}_level'], 20)} {word}")
    if values.get("energy_kcal") not in (None, ""):
        told.append(f"{_amount(values['energy_kcal'])} kcal")
    when = _time(values.get("time") or values.get("start"))
    until = f" to {_time(values['end'])}" if values.get("end") else ""
    return f"{when}{until}: {', '.join(told) or 'a meal'}"


def _amount(value: Any) -> str:
    """Return a number as people write it; what is none, as it stands in the file."""
    try:
        return f"{float(value):g}"
    except ValueError:
        return f"'{clean(value, 20)}'"


def read_words(found: ReadAs) -> str:
    """Return how a record is read, in words."""
    day = f"of {_day(found.day)}" if found.day else "outside the days of the readings"
    if not found.name:
        kind = found.kind if found.kind in ("breakfast", "lunch", "dinner") else "a snack"
        if found.kind == "not_food":
            return "It is not read as food."
        what = kind if found.kind else "a meal that has no name"
        beside = f", one meal with {', '.join(clean(one, 60) for one in found.beside)}"
        return f"It is read as {what} {day}{beside * bool(found.beside)}."
    counted = COUNTED.get(found.kind, "")
    if found.kind == "few":
        counted = f"It is looked at as a habit from {found.needed} days on."
    days = f"It is on {several(found.days, 'day')} now."
    return f"It is read as the tag '{clean(found.name, 60)}' {day}. {days} {counted}".strip()


def _one(made: CorrectionMade) -> str:
    if made.action == "taken_back":
        return "correction"
    return "meal" if made.stream == "meals" else "tag"


def _line(item: CorrectionMade) -> Any:
    said = record_words(item.now or item.before) if item.now or item.before else ""
    place = ""
    if item.place:
        place = f" ({clean(item.place.file, 60)}, row {item.place.row})"
    over = "" if item.in_force or item.action == "taken_back" else " No longer in force."
    return paragraph(f"row {item.row}: {ACTIONS[item.action]}{place}: {said}.{over}", 2)


def _about(note: Note) -> str:
    return f"{'the session of ' * (note.about == 'session')}{_day(note.date)}"


def _words(note: Note, indent: int = 2) -> Parts:
    return [own_words(line, indent) for line in note.text.split("\n")]


def _day(iso: str) -> str:
    try:
        day = date.fromisoformat(iso)
    except ValueError:
        return clean(iso, 20)
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def _time(text: Any) -> str:
    told = clean(text, 40)
    return f"{_day(told[:10])}, {told[11:16]}" if len(told) > 10 else _day(told)
