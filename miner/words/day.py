"""One day of one client, and a practice's morning, for people."""

from __future__ import annotations

from collections.abc import Sequence

from miner.core.messages import several
from miner.core.results.morning import (
    Against,
    ClientMorning,
    DayReview,
    Noted,
    PracticeMorning,
    RiseOfDay,
)
from miner.words.amounts import Amounts
from miner.words.document import Parts, Side, heading, item, paragraph, section, table, urgent
from miner.words.morning_words import (
    ASLEEP,
    CLIMB,
    NOT_A_PATTERN,
    WAKE,
    clock_words,
    label_words,
    level_words,
    measure_words,
    usual_words,
)
from miner.words.noting import notes_parts
from miner.words.safe import clean, name
from miner.words.wording import capital, day_words, listed

CORRECTIONS = "corrections.csv"
CUT = {
    "meal": "then the next food came",
    "rise": "then the next rise began",
    "gap": "then readings are missing",
    "end": "the records end before it was back",
}
FOLDED = ("activity", "stress")
"""Streams of which several records of one kind are told together."""


def rises_parts(rises: Sequence[RiseOfDay], date: str, amounts: Amounts) -> Parts:
    """Return each rise with its start, its height and its end, and below it what was noted.

    Args:
        rises: of the day, in order.
        date: the day, ISO.
        amounts: the unit shown.
    """
    if not rises:
        return [paragraph("No rise of this day was large enough to show.")]
    parts: Parts = []
    for rise in rises:
        noted = noted_words(rise.before) or "nothing is recorded"
        parts += [
            item(clock_words(rise.start), f"{_size(rise, date, amounts)}; {_ending(rise)}."),
            item("", f"{noted[:1].upper()}{noted[1:]}.", width=5),
        ]
    return parts


def _size(rise: RiseOfDay, date: str, amounts: Amounts) -> str:
    size = f"{amounts.level(rise.height, 'mg/dL')} {amounts.unit('mg/dL')}"
    after = "the next day: " if rise.start[:10] > date else ""
    hills = ", two hills taken as one" if rise.hills > 1 else ""
    peak = clock_words(rise.peak)
    return f"{after}{size} in {rise.minutes_to_peak:.0f} minutes, highest at {peak}{hills}"


def _ending(rise: RiseOfDay) -> str:
    if rise.back is not None:
        ending = f"back at {clock_words(rise.back)}"
    else:
        ending = CUT.get(rise.cut_by, "not seen to come back")
    return f"{ending}. No meal is noted around it" if rise.unlogged else ending


def noted_words(noted: Sequence[Noted]) -> str:
    """Return what was noted in the order of its start, records of one kind told together."""
    groups: dict[object, list[Noted]] = {}
    for at, one in enumerate(noted):
        key = (one.stream, one.kind) if one.stream in FOLDED and not one.date_only else at
        groups.setdefault(key, []).append(one)
    return "; ".join(_told(group) for group in groups.values())


def _told(group: list[Noted]) -> str:
    first = group[0]
    if len(group) == 1:
        when = "that day" if first.date_only else clock_words(first.start)
        return f"{when} {clean(first.text, 200)}{_mark(first)}"
    minutes = f"{sum(one.minutes for one in group):.0f} min"
    kind = clean(first.kind, 60)
    clocks = [clock_words(one.start) for one in group]
    if len(group) <= 3:
        return f"{listed(clocks)} {kind}, {minutes} in all"
    return (
        f"{clocks[0]} to {clock_words(group[-1].end)} {kind}, {len(group)} times, {minutes} in all"
    )


def _mark(noted: Noted) -> str:
    if noted.replaces:
        return f" (corrected: {name(noted.replaces.file)}, row {noted.replaces.row})"
    return " (added by you)" if noted.file == CORRECTIONS else ""


RISES = "Rises, and what was noted from 3 hours before to the highest point"


def day_parts(found: DayReview, display_unit: str = "mg/dL", *, detail: bool = False) -> Parts:
    """Return one day as headings, paragraphs and tables: what is unusual, then what to ask.

    Args:
        found: the day.
        display_unit: ``mg/dL`` or ``mmol/L``.
        detail: every other measure below it, and what is always said.
    """
    amounts = Amounts(display_unit)
    out = [] if found.usable else [paragraph(f"Not used in a ranking: {clean(found.left_out)}.")]
    asked = paragraph(f"To ask: {' '.join(map(str, found.could_be_asked))}")
    return [
        *_first((*found.of_client, *map(str, found.first))),
        heading(_lead(found)),
        *(paragraph(line) for line in _night(found, amounts)),
        *(paragraph(f"{capital(line)}.") for line in _outside(found.numbers, amounts)),
        *out,
        *([paragraph(""), asked] if found.could_be_asked else []),
        *section("Your notes", notes_parts(found.notes)),
        *section(RISES, rises_parts(found.rises, found.date, amounts)),
        *section("Kept and on test", [paragraph(item.sentence, 2) for item in found.on_test]),
        paragraph(""),
        *(paragraph(line) for line in _not_known(found.numbers)),
        paragraph(NOT_A_PATTERN + ("" if detail else " All other measures: --detail")),
        *(_detail(found, amounts) if detail else []),
    ]


def _lead(found: DayReview) -> str:
    day = f"{day_words(found.date)} {found.date[:4]}"
    chosen = "" if found.chosen == "asked for" else f" ({found.chosen})"
    begin, end = clock_words(found.start), clock_words(found.end)
    lead = f"{found.client}, {day}{chosen}, from waking at {begin} to {end} the next day."
    if found.last_reading:
        after = "" if found.last_reading[:10] == found.date else " the next day"
        lead += f" The last reading is at {clock_words(found.last_reading)}{after}."
    return lead


def _first(lines: Sequence[str]) -> Parts:
    if not lines:
        return []
    said = [urgent(text, 2) for text in lines]
    return [heading("Before anything else"), *said, paragraph("")]


def _night(found: DayReview, amounts: Amounts) -> list[str]:
    wake = next((item for item in found.numbers if item.name == WAKE), None)
    usual = ", as usual" if wake is not None and wake.inside else ""
    told = [] if wake is None else [f"{capital(measure_words(wake, amounts))}{usual}."]
    return [*told, str(found.night)]


def _outside(numbers: Sequence[Against], amounts: Amounts) -> list[str]:
    said = (WAKE, ASLEEP)
    return [
        measure_words(item, amounts)
        for item in numbers
        if item.inside is False and item.name not in said
    ]


def _not_known(numbers: Sequence[Against]) -> list[str]:
    unknown = [label_words(item) for item in numbers if item.value is None and item.name != WAKE]
    return [f"Not known: {', '.join(unknown)}."] if unknown else []


def _detail(found: DayReview, amounts: Amounts) -> Parts:
    inside = [item for item in found.numbers if item.inside and item.name != CLIMB]
    known = f"{several(len(inside), 'measure')} lay within the middle 95 % of the client's days."
    few = [item for item in found.numbers if item.inside is None and item.value is not None]
    too_few = [f"{label_words(item)} {level_words(item.value, item, amounts)}" for item in few]
    said = [f"Too few other days to say what is usual: {', '.join(too_few)}."] if too_few else []
    return [
        *section("As usual", [paragraph(known, 2), *_within(inside, amounts)]),
        *(paragraph(line, 2) for line in said),
        paragraph(""),
        paragraph(" ".join(found.cautions)),
    ]


def _within(items: Sequence[Against], amounts: Amounts) -> Parts:
    columns: list[tuple[str, Side]] = [("", "left"), ("that day", "right")]
    columns.append(("usual", "right"))
    rows = [
        (item.label, level_words(item.value, item, amounts), usual_words(item, amounts))
        for item in items
    ]
    return [table(columns, rows, gap=2)] if rows else []


def practice_parts(found: PracticeMorning) -> Parts:
    """Return a practice's morning on one screen."""
    groups = (
        ("Look first", found.look_first),
        ("Nudge", found.nudge),
        ("Stale", found.stale),
        ("On test", found.on_test),
        ("Ordinary", found.ordinary),
    )
    active = sum(len(clients) for _, clients in groups)
    parts: Parts = [
        heading(
            f"{found.practice}, morning of {day_words(found.on)} {found.on[:4]}: "
            f"{several(active, 'client')} in an active phase."
        ),
        paragraph(found.note),
    ]
    for title, clients in groups:
        lines: Parts = []
        for client in clients:
            lines += _client(client)
        parts += section(f"{title} ({len(clients)})", lines)
    resting = ", ".join(f"{clean(name, 40)} ({newest})" for name, newest in found.not_active)
    if resting:
        body: Parts = [
            paragraph(f"Newest reading more than four weeks old, or none yet: {resting}.", 2)
        ]
        parts += section("In no active phase", body)
    faults: Parts = [
        paragraph(f"{clean(name, 40)}: {clean(why, 400)}", 2) for name, why in found.unreadable
    ]
    return [*parts, *section("Could not be read", faults)]


def _client(client: ClientMorning) -> Parts:
    said = [*client.look_first, *client.nudge, *([client.stale] if client.stale else [])]
    said += [item.sentence for item in client.on_test]
    lines = [str(one) for one in said]
    day = f"looked at {client.day}" if client.day else "no whole day yet"
    text = " ".join(f"{line[:1].upper()}{line[1:].rstrip('.')}." for line in lines)
    text = text or "nothing stands out."
    parts: Parts = [paragraph(f"{clean(client.client, 40)} ({day}): {text}", 2)]
    if client.message:
        parts.append(paragraph(f"Ready to send: {client.message}", 4))
    return parts
