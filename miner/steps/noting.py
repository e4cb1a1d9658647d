"""What a practitioner writes of a client: corrections of meals and tags, and notes."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from miner.core.files import write_whole
from miner.core.messages import MinerError
from miner.core.results import Note, Place
from miner.core.results.noting import (
    ClinicianNoted,
    CorrectionMade,
    Notebook,
    PlanTicks,
    ReadAs,
    TicksMade,
)
from miner.records.client import Client
from miner.records.findings import Findings
from miner.records.write import corrections, notes
from miner.records.write.corrections import NAME, Correction, described
from miner.records.write.entering import DiaryEntry, addition, mending, removal
from miner.records.write.ticks import ANSWERS, read_ticks
from miner.rulebook import RuleBook
from miner.steps.client_ledger import settings_of
from miner.steps.clinician import iso, settled_in, take_clinician_back
from miner.steps.opening import read_client, refuse_stopped, rules_of
from miner.steps.ticking import entered, last_ticks, take_back_ticks, writing
from miner.tables.columns import fold, origins, seconds
from miner.tables.food.meals import meal_records
from miner.tables.measures import records_of
from miner.tables.tag_days import FEWEST_DAYS


def read_as(client: Client, rules: RuleBook, stream: str, place: corrections.Place) -> ReadAs:
    """Return how the record of a file and row is read.

    Args:
        client: as read.
        rules: the rule books.
        stream: meals or tags.
        place: the file and row of the record.
    """
    if stream == "meals":
        return _meal(client, rules, place)
    records, frame = records_of(client, rules), client.used("tags")
    at = origins(frame).index(place)
    day = int(records.days.of(seconds(frame["start"])[at : at + 1])[0])
    name = str(frame["tag"].iloc[at])
    named = (kind for kind, tags in records.tags.kinds.items() if fold(name) in tags)
    kind = next(named, "habit" if name in records.tags.habits else "few")
    return ReadAs(
        day=records.days.names[day] if day >= 0 else None,
        kind=kind,
        name=name,
        days=len(records.tags.rows.get(name, ())),
        needed=FEWEST_DAYS,
    )


def _meal(client: Client, rules: RuleBook, place: corrections.Place) -> ReadAs:
    records, frame = meal_records(client, rules), client.used("meals")
    meal = next((item for item in records.meals if place in item.rows), None)
    if meal is None:
        return ReadAs(None, "not_food")
    rows = dict(zip(origins(frame), frame.to_dict("records"), strict=True))
    others = (described("meals", rows[own]) for own in meal.rows if own != place)
    names = records.days.days.names
    return ReadAs(
        day=names[meal.day] if meal.day >= 0 else None,
        kind=meal.kind,
        beside=tuple(f"{told['time'][11:16]} {told.get('label', 'a meal')}" for told in others),
    )


LONGEST_NOTE = 4000
EARLIEST, LATEST_DAYS = 2000, 366


def correct(
    folder: Path,
    entry: DiaryEntry,
    rules: RuleBook | None = None,
    *,
    which: str | None = None,
    now: datetime | None = None,
) -> CorrectionMade:
    """Add a meal or a tag, or put it in place of one that is there; no raw file is changed.

    Args:
        folder: the client's folder.
        entry: what it is and when.
        rules: the rule books, which say how it is read.
        which: the record it replaces; None adds one.
        now: when it was entered; by default the clock's.

    Raises:
        MinerError: the records cannot be read, it cannot be read, it is there already, or the
            folder cannot be written.
    """
    if which is None:
        return _written(folder, rules, lambda client, at: addition(client, entry, at), now)
    return _written(folder, rules, lambda client, at: mending(client, which, entry, at), now)


def take_out(
    folder: Path,
    which: str,
    rules: RuleBook | None = None,
    *,
    now: datetime | None = None,
) -> CorrectionMade:
    """Take a meal or a tag out of the records; no raw file is changed.

    Args:
        folder: the client's folder.
        which: its time, or its file and row.
        rules: the rule books.
        now: when it was entered; by default the clock's.

    Raises:
        MinerError: no record is meant or several are, or the folder cannot be written.
    """
    return _written(folder, rules, lambda client, at: removal(client, which, at), now)


def take_back(
    folder: Path, row: int | None = None, *, now: datetime | None = None
) -> CorrectionMade | Note | ClinicianNoted | TicksMade:
    """Take back a correction; without a row, what was written last, whatever it was.

    A correction stays in its file, and a row that takes it back is added. A note is removed, and
    returned with row 0; so are ticks. Of a clinician, what was before comes back.

    Args:
        folder: the client's folder.
        row: its line in ``corrections.csv``.
        now: when it was entered; by default the clock's.

    Raises:
        MinerError: there is nothing to take back, or the folder cannot be written.
    """
    if row is None and _ticks_are_last(folder):
        return take_back_ticks(folder)
    with writing(folder):
        known = corrections.read_corrections(folder, Findings())
        held = corrections.not_taken_back(known)
        written = notes.read_notes(folder)
        last = max(written, key=lambda note: (note.entered, note.row), default=None)
        others = [one.entered for one in (last, *held[-1:]) if one]
        noted = settled_in(folder).entered
        if row is None and noted and noted >= max(others, default=""):
            return take_clinician_back(folder)
        if row is None and last and (not held or last.entered > held[-1].entered):
            rest = notes.without_note(corrections.raw_of(folder, notes.NAME), last)
            write_whole(folder / notes.NAME, rest)
            return replace(last, row=0)
        item = next((one for one in held if one.row == (row or held[-1].row)), None)
        if item is None:
            code = "steps.nothing_to_take_back" if not row else "steps.no_correction_at_all"
            if held:
                code = "steps.no_correction_in_force"
            raise MinerError(code, n=row, rows=[str(one.row) for one in held], file=NAME)
        back = Correction(0, entered(now), item.stream, (NAME, item.row), {}, {})
        raw, line = corrections.with_one_more(corrections.raw_of(folder, NAME), back)
        write_whole(folder / NAME, raw)
        return _made(replace(back, row=line), item)


def _ticks_are_last(folder: Path) -> bool:
    held = corrections.not_taken_back(corrections.read_corrections(folder, Findings()))
    others = [one.entered for one in held] + [one.entered for one in notes.read_notes(folder)]
    ticks = last_ticks(folder)
    return bool(ticks) and ticks[0].noted >= max(*others, settled_in(folder).entered, "")


def write_note(
    folder: Path, about: str, day: date, text: str, *, now: datetime | None = None
) -> Note:
    """Write a note on a day or a session; it is read back to the letter.

    Args:
        folder: the client's folder; no record in it is read.
        about: "day" or "session".
        day: the date.
        text: the words; line ends become line feeds.
        now: when it was entered; by default the clock's.

    Raises:
        MinerError: there are no words, too many, or one that cannot be written; the date is far
            off; or the folder cannot be written.
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    _require_note(text)
    moment = now or datetime.now(UTC)
    latest = moment.date() + timedelta(days=LATEST_DAYS)
    if not date(EARLIEST, 1, 1) <= day <= latest:
        raise MinerError("steps.day_far_off", day=day, first=EARLIEST, last=latest)
    with writing(folder):
        note = Note(about, day.isoformat(), entered(moment), text)
        raw = notes.with_note(corrections.raw_of(folder, notes.NAME), note)
        write_whole(folder / notes.NAME, raw)
    return notes.notes_in(raw)[-1]


def notebook(folder: Path) -> Notebook:
    """Return everything that was written of a client, in the order of the files.

    Raises:
        MinerError: a file cannot be read.
    """
    known = corrections.read_corrections(folder, Findings())
    in_force = {item.row for item in corrections.standing(known)}
    by_row = {(NAME, item.row): item for item in known}
    made = (_made(item, by_row.get(item.target or (NAME, 0))) for item in known)
    clinician = settled_in(folder)
    return Notebook(
        settings_of(folder).code,
        tuple(replace(item, in_force=item.row in in_force) for item in made),
        notes.read_notes(folder),
        _ticks(folder),
        informed=iso(clinician.informed),
        agreed=iso(clinician.agreed),
        covers=clinician.covers,
    )


def _ticks(folder: Path) -> tuple[PlanTicks, ...]:
    found = read_ticks(folder)
    plans = sorted({plan for plan, _ in found.by_day})
    by_answer = {
        plan: [sorted(d for d, said in found.of(plan).items() if said == one) for one in ANSWERS]
        for plan in plans
    }
    return tuple(PlanTicks(plan, *map(tuple, days)) for plan, days in by_answer.items())


def _written(
    folder: Path,
    rules: RuleBook | None,
    make: Callable[[Client, str], Correction],
    now: datetime | None,
) -> CorrectionMade:
    with writing(folder):
        client = read_client(folder)
        refuse_stopped(client)
        item = make(client, entered(now))
        raw, row = corrections.with_one_more(corrections.raw_of(folder, NAME), item)
        write_whole(folder / NAME, raw)
        after = read_client(folder)
    known = {(NAME, one.row): one for one in corrections.read_corrections(folder, Findings())}
    made = _made(known[NAME, row], known.get(item.target or (NAME, 0)))
    place = (NAME, row) if item.values else None
    read = read_as(after, rules_of(after.folder, rules), item.stream, place) if place else None
    return replace(made, read_as=read)


def _made(item: Correction, target: Correction | None) -> CorrectionMade:
    """Return a row of the corrections as a result.

    Args:
        item: the row.
        target: the correction it speaks of, where it speaks of one.
    """
    before = dict(item.was)
    if item.takes_back and target is not None:
        action, before = "taken_back", dict(target.values or target.was)
    elif item.target is None:
        action = "added"
    else:
        action = "mended" if item.values else "taken_out"
    place = Place(*item.target) if item.target else None
    return CorrectionMade(
        item.row, item.entered, item.stream, action, place, before, dict(item.values)
    )


def _require_note(text: str) -> None:
    if not text.strip():
        raise MinerError("steps.empty_note")
    if len(text) > LONGEST_NOTE:
        raise MinerError("steps.long_note", count=len(text), most=LONGEST_NOTE)
    marks = (mark for mark in text if mark not in "\n\t")
    strange = next((mark for mark in marks if unicodedata.category(mark) in ("Cc", "Cs")), "")
    if strange:
        raise MinerError("steps.strange_mark", mark=f"U+{ord(strange):04X}")
