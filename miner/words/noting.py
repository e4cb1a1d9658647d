"""What a practitioner noted, in words: corrections, notes, merged words, how each is read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Any

from miner.core.facts import TOPICS
from miner.core.messages import Message, message, several
from miner.core.results import Note
from miner.core.results.noting import ClinicianNoted, NotTicked, TicksMade
from miner.words.document import Parts, command, heading, own_words, paragraph, section, table
from miner.words.door import door_now
from miner.words.safe import clean
from miner.words.wording import capital, day_and_month, full_date, listed, some_days, span_words

if TYPE_CHECKING:
    from miner.core.results.noting import (
        CorrectionMade,
        LookAlike,
        Merge,
        Merges,
        Notebook,
        PlanTicks,
        ReadAs,
        Reworded,
        WordCount,
    )

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


def written_parts(made: CorrectionMade | Note | ClinicianNoted | TicksMade, client: Path) -> Parts:
    """Return what was just written, how it is read, and how to take it back.

    Args:
        made: what was written, or a note or ticks that were taken back.
        client: the client's folder, as it was typed.
    """
    undo = f"miner note {quote(str(client))} --undo"
    if isinstance(made, ClinicianNoted):
        said = [*settled_parts(made), *held_parts(made, client)]
        return said if made.taken_back else [*said, *_back(undo)]
    parts: Parts
    if isinstance(made, TicksMade):
        parts = [heading(f"Test {clean(made.plan, 60)}: {ticked_words(made)}.")]
        if made.left:
            parts += not_ticked_parts([NotTicked(made.plan, ("",) * made.left)], str(client))
        return [*parts, *(_back(undo) if made.noted and not made.taken_back else [])]
    if isinstance(made, Note):
        if not made.row:
            return [heading(f"The note is taken back: {_about(made)}."), *_words(made)]
        title = heading(f"Noted, in notes.md: {_about(made)}.")
        return [title, *_words(made), *_back(undo)]
    lead = f"The {_one(made)} is {ACTIONS[made.action]}: corrections.csv, row {made.row}."
    parts = [heading(f"{lead} The client's own files stay as they are.")]
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


def settled_parts(made: ClinicianNoted) -> Parts:
    """Return what was noted of a clinician, and what opens now."""
    lead = "Taken back in client.toml." if made.taken_back else "Noted in client.toml."
    told = [f"The client was asked to see a clinician on {full_date(made.informed)}."]
    agreed = f"What the clinician agreed to on {full_date(made.agreed)} covers "
    told = told if made.informed else []
    told += [f"{agreed}{listed([*made.covers])}."] if made.agreed else []
    nothing = [] if told else ["Nothing is noted about a clinician now."]
    parts: Parts = [heading(" ".join([lead, *told, *nothing]))]
    lost = [topic for topic in made.covered_before if topic not in made.covers]
    if lost and not made.taken_back:
        text = (
            f"Until now it covered {listed(lost)} too. If it still does, name all of them together."
        )
        parts.append(paragraph(text))
    if made.unread:
        text = "What this opens will be shown once the records can be read."
        return [*parts, paragraph(text), paragraph(str(made.unread), 2)]
    if made.opened:
        parts.append(paragraph(f"Tests of {listed([*made.opened])} can be planned now."))
    if not made.held:
        parts.append(paragraph("No caution holds a test back now."))
    return parts


LIFTED = {
    "again": "The readings met this after that date. Tell the client again and note the new date.",
    "informed": "Tell the client to see a clinician, then note the date.",
    "agreed": "A clinician's agreement that covers {topics} lifts this. Note it when there is one.",
    "": "Nothing here lifts this. Leave it to those who treat the client.",
}


def held_parts(made: ClinicianNoted, client: Path) -> Parts:
    """Return what still waits, why, and what lifts it.

    Args:
        made: what was noted.
        client: the client's folder, as it was typed.
    """
    parts: Parts = []
    for lift in ("informed", "agreed", ""):
        own = [one for one in made.held if one.lift == lift]
        if not own:
            continue
        topics = [one.topic for one in own]
        next_ = (each for one in own for each in one.why if (one.topic, lift) in each.waiting)
        why = dict.fromkeys(str(each.reason) for each in next_)
        text = LIFTED["again" if lift == "informed" and made.informed else lift]
        parts.append(paragraph(f"Tests of {listed(topics)} wait."))
        parts += [paragraph(f"{capital(each)}.", 2) for each in why]
        parts.append(paragraph(text.format(topics=listed(topics)), 2))
        covers = ",".join(topic for topic in TOPICS if topic in (*made.covers, *topics))
        option = {"informed": "--informed DATE", "agreed": f"--agreed DATE --covers {covers}"}
        if lift:
            parts.append(command(f"miner note {quote(str(client))} {option[lift]}"))
    return parts


def ticked_words(made: TicksMade) -> str:
    """Return how many days were ticked, and how: "12 days ticked as planned, 2 already there"."""
    told = [f"{several(made.as_planned, 'day')} ticked as planned"] * bool(made.as_planned)
    if made.taken_back:
        told.append(str(message("words.ticks_taken_back", n=len(made.answers))))
    elif len(made.answers) > made.as_planned:
        told += _named(made)
    if not told:
        told.append("nothing new to tick")
    if made.already and (made.as_planned or not made.answers):
        told.append(f"{made.already} already there")
    return ", ".join(told)


def _named(made: TicksMade) -> list[str]:
    """Return the answers of days that were named: each day of few, else how many."""
    if len(made.answers) <= MOST_NAMED_DAYS and not made.as_planned:
        days = made.answers.items()
        return [f"{day_and_month(day, short=True)} {TICKED[said]}" for day, said in days]
    by_answer = Counter(made.answers.values())
    by_answer["yes"] -= made.as_planned
    counts = by_answer.items()
    return [f"{several(count, 'day')} {TICKED[said]}" for said, count in counts if count]


MOST_NAMED_DAYS = 3
TICKED = {"yes": "ticked yes", "no": "ticked no", "forgot": "ticked forgot", "": "without a tick"}


def _test(name: str) -> Message:
    return (
        message("words.test_named", name=clean(name, 60)) if name else message("words.test_running")
    )


def not_ticked_parts(
    found: Sequence[NotTicked],
    client: str,
    indent: int = 0,
    *,
    tests: Mapping[str, Message] | None = None,
) -> Parts:
    """Return how many days of each running test have no tick, and what ticks them.

    Args:
        found: a test each.
        client: its code, or its folder as it was typed.
        indent: columns left free at the left.
        tests: what each test is about, where that is known.
    """
    parts: Parts = []
    for one in found:
        about = (tests or {}).get(one.plan) or _test(one.plan if len(found) > 1 else "")
        values = {"n": len(one.days), "name": about}
        parts.append(paragraph(message("words.days_not_ticked", **values), indent))
        if door_now() == "":
            plan = f" --plan {quote(one.plan)}" if len(found) > 1 else ""
            text = f'miner note {quote(client)} --ticks "all as planned"{plan}'
            parts.append(command(text, indent + 2))
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
    parts += section("Notes (notes.md)", notes_parts(book.notes))
    parts += section("Clinician (client.toml)", _clinician(book))
    return [*parts, *section("Ticks", [paragraph(_ticked(one), 2) for one in book.ticks])]


def _clinician(book: Notebook) -> Parts:
    told = []
    if book.informed:
        told.append(f"The client was referred on {full_date(book.informed)}.")
    if book.agreed:
        topics = listed(list(book.covers))
        told.append(f"The clinician agreed on {full_date(book.agreed)} to tests of {topics}.")
    return [paragraph(" ".join(told), 2)] if told else []


def _ticked(one: PlanTicks) -> str:
    """Return the days ticked yes as a count, the others with their dates."""
    days = sorted((*one.yes, *one.no, *one.forgot))
    counts = [f"{several(len(one.yes), 'day')} yes"]
    for answer, found in (("no", one.no), ("forgot", one.forgot)):
        counts.append(f"{len(found)} {answer}{f' ({some_days(found)})' if found else ''}")
    many = len(days) > 1
    when = span_words(days[0], days[-1]) if many else full_date(days[0])
    return f"Plan {clean(one.plan, 60)}, {when}: {listed(counts)}."


def notes_parts(notes: Iterable[Note]) -> Parts:
    """Return notes: what each is about, when it was written, its words."""
    parts: Parts = []
    for note in notes:
        entered = f", noted on {full_date(note.entered[:10])}" if note.entered else ""
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
    """Return a number as people write it; what is not one, as it is in the file."""
    try:
        return f"{float(value):g}"
    except ValueError:
        return f"'{clean(value, 20)}'"


def read_words(found: ReadAs) -> str:
    """Return how a record is read, in words."""
    day = f"of {full_date(found.day)}" if found.day else "outside the days of the readings"
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
    return f"{'the session of ' * (note.about == 'session')}{full_date(note.date)}"


def _words(note: Note, indent: int = 2) -> Parts:
    return [own_words(line, indent) for line in note.text.split("\n")]


def _time(text: Any) -> str:
    told = clean(text, 40)
    return f"{full_date(told[:10])}, {told[11:16]}" if len(told) > 10 else full_date(told)


LEADS = {
    "merged": "The words are joined into the {kind} '{into}', in practice.toml.",
    "parted": "The words are separated from the {kind} '{into}', in practice.toml.",
    "preview": "The words would be joined into the {kind} '{into}'. Nothing is written.",
}
STATES = {
    "before": "Nobody had looked at later days, so it counts as before.",
    "after": "Later days had been looked at, so it is a hint at most.",
    "goes_on": "It goes on with the words it was kept with.",
}
SHOWN = 20


def merge_parts(found: Merge, practice: Path) -> Parts:
    """Return what a merge or a parting comes to, and how to take it back.

    Args:
        found: the merge.
        practice: the practice's folder, as it was typed.
    """
    lead = LEADS[found.action].format(kind=found.kind, into=clean(found.into, 60))
    parts: Parts = [heading(lead), *_counts(found)]
    parts += [paragraph(_touched(item)) for item in found.reworded]
    if found.apart:
        names = ", ".join(clean(name, 40) for name in found.apart)
        parts.append(paragraph(f"The client.toml of {names} says otherwise, and that holds."))
    parts += _unreadable(found.unreadable)
    others = " ".join(quote(item.word) for item in found.words[1:])
    words, kind = f"miner merge {quote(str(practice))} {others}", f" --kind {found.kind}"
    if found.action == "merged":
        parts += [paragraph("To take it back:"), command(f"{words} --part{kind}")]
    elif found.action == "preview":
        merged = f"{words} --into {quote(found.into)}{kind}"
        parts += [paragraph("To join them:"), command(merged)]
    return parts


def merges_parts(found: Merges, practice: Path) -> Parts:
    """Return what is merged in a practice and which words look alike, with the commands."""
    words = several(len(found.merged), "word is", "words are")
    counts = f"{words} joined, and {several(len(found.alike), 'pair looks', 'pairs look')} alike."
    parts: Parts = [heading(f"{clean(found.practice, 60)}: {counts}")]
    lines: Parts = [
        paragraph(f"{kind} '{clean(own, 60)}' as '{clean(kept, 60)}'", 2)
        for kind, own, kept in found.merged
    ]
    parts += section("Joined", lines)
    for kind, title in (("tag", "Tags that look alike"), ("food", "Foods that look alike")):
        lines = []
        for pair in [pair for pair in found.alike if pair.kind == kind][:SHOWN]:
            lines += _pair(pair, practice)
        parts += section(title, lines)
    return [*parts, *_unreadable(found.unreadable)]


def _pair(pair: LookAlike, practice: Path) -> Parts:
    rarer, commoner = pair.rarer, pair.commoner
    told = f"{_counted(rarer)}, {_counted(commoner)}"
    words = [(rarer.word, commoner.word)]
    if pair.as_common:
        told += ". Both are as common, so you decide which is right"
        words.append((commoner.word, rarer.word))
    lead = f"miner merge {quote(str(practice))}"
    lines = (
        command(f"{lead} {quote(own)} --into {quote(kept)} --kind {pair.kind}", 4)
        for own, kept in words
    )
    return [paragraph(f"{told}.", 2), *lines]


def _counted(count: WordCount) -> str:
    days, clients = several(count.days, "day"), several(count.clients, "client")
    return f"'{clean(count.word, 60)}' ({days}, {clients})"


def _counts(found: Merge) -> Parts:
    noted = "times" if found.kind == "tag" else "meals"
    columns: list[str] = ["word", f">{noted}", ">days", ">clients"]
    rows = [_row(count, clean(count.word, 60)) for count in found.words]
    return table(columns, [*rows, _row(found.together, "together")], gap=2)


def _row(count: WordCount, name: str) -> tuple[str, ...]:
    return name, str(count.times), str(count.days), str(count.clients)


def _touched(item: Reworded) -> str:
    kind, _, words = item.factor.partition(":")
    what = "the question about" if item.what == "question" else "the kept pattern of"
    named = f"the {kind} '{clean(words, 60)}'"
    return f"{clean(item.client, 40)}: {what} {named} changes. {STATES[item.state]}"


def _unreadable(found: tuple[tuple[str, str], ...]) -> Parts:
    return [
        paragraph(f"{clean(name, 40)} could not be read: {clean(why, 300)}") for name, why in found
    ]
