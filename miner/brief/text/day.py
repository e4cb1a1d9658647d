"""One day of one client, and a practice's morning, for people."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import JustifyMethod

from miner.brief.morning_words import NOT_A_PATTERN, clock_words, day_words
from miner.brief.text.amounts import Amounts, fixed
from miner.brief.text.layout import Parts, heading, paragraph, section, table
from miner.brief.text.noting import notes_parts
from miner.brief.text.safe import clean
from miner.errors import several
from miner.results.morning import (
    Against,
    ClientMorning,
    DayReview,
    Noted,
    PracticeMorning,
    RiseOfDay,
)

CORRECTIONS = "corrections.csv"
CUT = {
    "meal": "then the next food came",
    "rise": "then the next rise began",
    "gap": "then readings are missing",
    "end": "the records end before it was back",
}


def day_parts(found: DayReview, display_unit: str = "mg/dL") -> Parts:
    """Return one day as headings, paragraphs and tables.

    Args:
        found: the day.
        display_unit: ``mg/dL`` or ``mmol/L``.
    """
    amounts = Amounts(display_unit)
    lead = f"{found.client}, {day_words(found.date)} {found.date[:4]} ({found.chosen})."
    span = f"From waking at {clock_words(found.start)} to {clock_words(found.end)} the next day."
    if found.last_reading:
        span += f" The last reading of it is at {clock_words(found.last_reading)}"
        span += "." if found.last_reading[:10] == found.date else " the next day."
    out = [] if found.usable else [paragraph(f"Not used in a ranking: {clean(found.left_out)}.")]
    wake = next((item for item in found.numbers if item.name == "wake_glucose"), None)
    inside = [item for item in found.numbers if item.inside]
    known = f"{several(len(inside), 'other measure')} lay within the client's usual range."
    return [
        *_first((*found.of_client, *found.first)),
        heading(lead),
        paragraph(f"{span} {NOT_A_PATTERN}"),
        *out,
        *section("Your notes", notes_parts(found.notes)),
        *section("Night and waking", [paragraph(text, 2) for text in _night(found, wake, amounts)]),
        *section("Rises, in order", _rises(found.rises, found.date, amounts)),
        *section("Not as usual for this client", _outside(found.numbers, amounts)),
        *section("As usual", [paragraph(known, 2), *_within(inside, amounts)]),
        *section("What could be asked", [paragraph(text, 2) for text in found.could_be_asked]),
        *section("Kept and on test", [paragraph(item.sentence, 2) for item in found.on_test]),
        paragraph(""),
        paragraph(" ".join(found.cautions)),
    ]


def _first(lines: Sequence[str]) -> Parts:
    if not lines:
        return []
    said = [paragraph(f"! {text}", 2) for text in lines]
    return [heading("Before anything else"), *said, paragraph("")]


def _night(found: DayReview, wake: Against | None, amounts: Amounts) -> list[str]:
    lines = [found.night]
    if wake is None:
        return lines
    if wake.value is None:
        return [*lines, f"Wake glucose: not known, {wake.reason}."]
    text = f"Wake glucose {_level(wake.value, wake, amounts)}"
    return [*lines, f"{text}{_usual(wake, amounts)}."]


def _usual(item: Against, amounts: Amounts) -> str:
    if item.low is None:
        return f" (too few other days to say what is usual: {item.days})"
    return f" (usual {_usual_range(item, amounts)})"


def _usual_range(item: Against, amounts: Amounts) -> str:
    return " to ".join(_level(end, item, amounts, False) for end in (item.low, item.high))


def _level(value: float | None, item: Against, amounts: Amounts, unit: bool = True) -> str:
    words = "%" if item.unit == "share" else amounts.unit(item.unit)
    if value is None:
        shown = "-"
    elif item.name.endswith("_clock"):
        shown, words = "{:02d}:{:02d}".format(*divmod(round(value * 60) % (24 * 60), 60)), ""
    elif "mg/dL" in item.unit:
        shown = amounts.level(value, item.unit)
    elif item.unit == "share":
        shown = fixed(100 * value, 1)
    else:
        shown = fixed(value, 1 if item.unit == "h" else 0)
    return f"{shown} {words}".strip() if unit and words not in ("count", "steps") else shown


def _rises(rises: Sequence[RiseOfDay], date: str, amounts: Amounts) -> Parts:
    if not rises:
        return [paragraph("No rise of this day was large enough to tell.", 2)]
    parts: Parts = []
    for rise in rises:
        size = f"{amounts.level(rise.height, 'mg/dL')} {amounts.unit('mg/dL')}"
        hills = ", two hills told as one" if rise.hills > 1 else ""
        if rise.back is not None:
            ending = f"back at {clock_words(rise.back)}"
        else:
            ending = CUT.get(rise.cut_by, "not seen to come back")
        unlogged = " No meal is logged around it." if rise.unlogged else ""
        start = clock_words(rise.start) + (" the next day" if rise.start[:10] > date else "")
        text = (
            f"{start}: {size} in {rise.minutes_to_peak:.0f} min, highest at "
            f"{clock_words(rise.peak)}{hills}; {ending}.{unlogged}"
        )
        before = "; ".join(_noted(item) for item in rise.before) or "nothing is recorded"
        said = f"From 3 hours before it to its highest point: {before}."
        parts += [paragraph(text, 2), paragraph(said, 4)]
    return parts


def _noted(item: Noted) -> str:
    text = f"{clock_words(item.start)} {clean(item.text, 80)}"
    if item.replaces:
        return f"{text} (corrected: {clean(item.replaces.file, 60)}, row {item.replaces.row})"
    return f"{text} (added by you)" if item.file == CORRECTIONS else text


def _outside(numbers: Sequence[Against], amounts: Amounts) -> Parts:
    lines = [
        f"{item.label} {_level(item.value, item, amounts)}{_usual(item, amounts)}"
        for item in numbers
        if item.inside is False
    ]
    unknown = [item.label for item in numbers if item.value is None]
    if unknown:
        lines.append(f"Not known: {', '.join(unknown)}")
    return [paragraph(f"{line[:1].upper()}{line[1:]}.", 2) for line in lines]


def _within(items: Sequence[Against], amounts: Amounts) -> Parts:
    columns: list[tuple[str, JustifyMethod]] = [("", "left"), ("that day", "right")]
    columns.append(("usual", "right"))
    rows = [
        (item.label, _level(item.value, item, amounts), _usual_range(item, amounts))
        for item in items
    ]
    return [table(columns, rows, gap=2)] if rows else []


def practice_parts(found: PracticeMorning) -> Parts:
    """Return a practice's morning on one screen."""
    groups = (
        ("Look first", found.look_first), ("Nudge", found.nudge), ("Stale", found.stale),
        ("On test", found.on_test), ("Ordinary", found.ordinary),
    )  # fmt: skip
    active = sum(len(clients) for _, clients in groups)
    parts: Parts = [
        heading(f"{found.practice}, morning of {day_words(found.on)} {found.on[:4]}: "
                f"{several(active, 'client')} in an active phase."),
        paragraph(found.note),
    ]  # fmt: skip
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
    day = f"looked at {client.day}" if client.day else "no whole day yet"
    text = " ".join(f"{line[:1].upper()}{line[1:].rstrip('.')}." for line in said)
    text = text or "nothing stands out."
    parts: Parts = [paragraph(f"{clean(client.client, 40)} ({day}): {text}", 2)]
    if client.message:
        parts.append(paragraph(f"Ready to send: {client.message}", 4))
    return parts
