"""One day of one client, and a practice's morning, for people."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from miner.core.messages import message, several
from miner.words.amounts import Amounts, fixed, measured
from miner.words.cautions import CautionBlocks
from miner.words.document import Parts, heading, item, paragraph, section, table, urgent
from miner.words.noting import not_ticked_parts, notes_parts
from miner.words.safe import clean, name
from miner.words.wording import capital, day_words, listed

if TYPE_CHECKING:
    from miner.core.results.morning import (
        Against,
        ClientMorning,
        DayReview,
        Noted,
        PracticeMorning,
        RiseOfDay,
    )

WAKE, ASLEEP, MIDPOINT, CLIMB, VARIED = (
    "wake_glucose",
    "asleep_hours",
    "midpoint_later_than_usual",
    "biggest_rise",
    "variability",
)
_NIGHTS = (ASLEEP, MIDPOINT, "overnight_mean", "awake_share", "deep_share")
_DINNER = ("dinner_carbs_grams", "dinner_clock")
_ORDER = ("second", "third")
LABELS = {
    WAKE: "waking glucose",
    ASLEEP: "time asleep",
    MIDPOINT: "middle of the night",
    CLIMB: "biggest rise",
    VARIED: "glucose varied by",
}
"""What is said where the label of the rule book is part of another sentence."""


def level_words(value: float | None, item: Against, amounts: Amounts, *, unit: bool = True) -> str:
    """Return a value of a measure, with its unit where that is wanted."""
    unit = unit and item.unit != "steps"
    return measured(item.name, value, item.unit, amounts, unit=unit)


def label_words(item: Against) -> str:
    """Return what a measure is called."""
    return LABELS.get(item.name, item.label)


def measure_words(item: Against, amounts: Amounts) -> str:
    """Return a measure with its value and, where it is not as usual, its place.

    As in ``waking glucose 117 mg/dL, second highest of 39 mornings``. Of the biggest rise no
    number is said: each rise below has its own height, from another start.
    """
    value = item.value
    if value is None:
        return f"{label_words(item)} is not known: {item.reason}"
    place = place_words(item)
    if item.name == CLIMB:
        return ", ".join(filter(None, [label_words(item), place]))
    if item.name == MIDPOINT:
        way = "later" if value > 0 else "earlier"
        said = f"{label_words(item)} {fixed(abs(value), 0)} minutes {way} than usual"
    else:
        said = f"{label_words(item)} {level_words(value, item, amounts)}"
    return f"{said}, {place}" if place else said


def place_words(item: Against) -> str:
    """Return the place of a value among the days, ``second highest of 39 mornings``; else empty."""
    if item.inside is not False or item.value is None or item.middle is None:
        return ""
    high = item.value > item.middle
    more_extreme = item.above if high else item.below
    word = _words_of(item)[0 if high else 1]
    of = f"{item.days + 1} {_days_of(item)}"
    if not more_extreme:
        return f"the {word} of {of}"
    if more_extreme <= len(_ORDER):
        return f"{_ORDER[more_extreme - 1]} {word} of {of}"
    return f"among the {word} of {of}"


def usual_words(item: Against, amounts: Amounts) -> str:
    """Return the client's usual range."""
    ends = item.low, item.high
    if item.name == MIDPOINT:
        return " to ".join(_against_usual(end) for end in ends if end is not None)
    return " to ".join(level_words(end, item, amounts, unit=False) for end in ends)


def _against_usual(minutes: float) -> str:
    return f"{fixed(abs(minutes), 0)} min {'later' if minutes > 0 else 'earlier'}"


def _words_of(item: Against) -> tuple[str, str]:
    if item.name.endswith("_clock") or item.name == MIDPOINT:
        return "latest", "earliest"
    if item.name == CLIMB:
        return "largest", "smallest"
    if item.name == VARIED:
        return "most", "least"
    if item.unit == "h":
        return "longest", "shortest"
    if "mg/dL" in item.unit or item.unit == "share":
        return "highest", "lowest"
    return "most", "least"


def _days_of(item: Against) -> str:
    if item.name == WAKE:
        return "mornings"
    return "nights" if item.name in _NIGHTS else "days"


NOT_A_PATTERN = "One day is never a pattern."
VERY_LOW = 54


def clock_words(minute: str) -> str:
    """Return the time of day of a minute on the wall clock."""
    return minute[11:16]


def pressure_words(start: str, end: str, lowest: float, display_unit: str) -> str:
    """Return a question about a low that may be pressure on the sensor.

    Args:
        start: on the wall clock to the minute.
        end: on the wall clock to the minute.
        lowest: the lowest reading in mg/dL.
        display_unit: the unit shown.
    """
    amounts = Amounts(display_unit)
    low = f"{amounts.level(lowest, 'mg/dL')} {amounts.unit('mg/dL')}"
    said = "low_very" if lowest < VERY_LOW else "low_asleep"
    when = {"start": clock_words(start), "end": clock_words(end)}
    return str(message(f"words.{said}", low=low, **when))


def night_words(start: str, end: str, hours: Against | None) -> str:
    """Return the night that opens the day in one sentence."""
    span = f"{clock_words(start)} to {clock_words(end)}"
    if hours is None or hours.value is None:
        return f"The night before was from {span}"
    place = place_words(hours)
    return f"Asleep {fixed(hours.value, 1)} hours ({span}){f', {place}' if place else ''}"


def not_as_usual(numbers: Sequence[Against]) -> str:
    """Return what to ask about numbers of the day that no other day has."""
    names = {item.name for item in numbers}
    asked = ["How was the evening before?"] if names & {WAKE, *_NIGHTS} else []
    asked += ["What was this dinner like?"] if names & {*_DINNER} else []
    asked += ["What was different that day?"] if names - {WAKE, *_NIGHTS, *_DINNER} else []
    return " ".join(asked)


def about_rises(rises: Sequence[RiseOfDay], display_unit: str) -> str:
    """Return one question about all rises without a meal."""
    clocks, amounts = listed([clock_words(rise.start) for rise in rises]), Amounts(display_unit)
    if len(rises) > 1:
        return f"What was going on around {clocks}? No meal is noted near these rises."
    size = f"{amounts.level(rises[0].height, 'mg/dL')} {amounts.unit('mg/dL')}"
    return f"What was going on around {clocks}? No meal is noted near this rise of {size}."


CORRECTIONS = "corrections.csv"
CUT = {
    "meal": "not back before the next food",
    "rise": "not back before the next rise",
    "gap": "then readings are missing",
    "end": "not back when the records end",
}
LONGEST_NAP = 180
"""Minutes: what is longer is a night, which the lines above have already."""
FOLDED = ("activity", "stress")
"""Streams of which several records of one kind are one piece of text."""


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
        parts += [
            item(clock_words(rise.start), f"{_size(rise, date, amounts)}; {_ending(rise)}"),
            item("", noted_words(rise.before) or "Nothing is recorded.", width=5),
        ]
    return parts


def _size(rise: RiseOfDay, date: str, amounts: Amounts) -> str:
    size = f"{amounts.level(rise.height, 'mg/dL')} {amounts.unit('mg/dL')}"
    after = "the next day: " if rise.start[:10] > date else ""
    hills = ", two rises taken as one" if rise.hills > 1 else ""
    return f"{after}{size} in {rise.minutes_to_peak:.0f} minutes{hills}"


def _ending(rise: RiseOfDay) -> str:
    if rise.back is not None:
        ending = f"back at {clock_words(rise.back)}"
    else:
        ending = CUT.get(rise.cut_by, "not seen to come back")
    return f"{ending}. No meal is noted near it." if rise.unlogged else ending


def noted_words(noted: Sequence[Noted]) -> str:
    """Return what was noted in the order of its start, a sentence for records of one kind."""
    groups: dict[object, list[Noted]] = {}
    for at, one in enumerate(noted):
        if one.stream == "sleep" and one.minutes > LONGEST_NAP:
            continue
        key = (one.stream, one.kind) if one.stream in FOLDED and not one.date_only else at
        groups.setdefault(key, []).append(one)
    return " ".join(f"{_told(group)}." for group in groups.values())


def _told(group: list[Noted]) -> str:
    first = group[0]
    if len(group) == 1:
        when = "that day" if first.date_only else clock_words(first.start)
        text = first.own if first.stream == "tags" else first.text
        return f"{when} {clean(text, 200)}{_mark(first)}"
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


RISES = "Rises, and what was noted in the 3 hours before"


def day_first(found: DayReview) -> Parts:
    """Return what comes before anything else of a day: of the client, then of its readings."""
    of_day = [urgent(text, 2) for text in map(str, found.first)]
    of_client = CautionBlocks(found.of_client).first()
    if not of_day or of_client:
        return [*of_client[:-1], *of_day, *of_client[-1:]]
    return [heading(str(message("words.refer_first"))), *of_day, paragraph("")]


def day_parts(
    found: DayReview, display_unit: str = "mg/dL", *, detail: bool = False, cautioned: bool = True
) -> Parts:
    """Return one day as headings, paragraphs and tables: what is unusual, then what to ask.

    Args:
        found: the day.
        display_unit: ``mg/dL`` or ``mmol/L``.
        detail: every other measure below it, and what is always said.
        cautioned: begin with what comes before anything else; else that is said elsewhere.
    """
    amounts = Amounts(display_unit)
    out = [] if found.usable else [paragraph(f"Not used ({clean(found.left_out)})")]
    asked = paragraph(f"To ask: {' '.join(map(str, found.could_be_asked))}")
    return [
        *(day_first(found) if cautioned else []),
        *CautionBlocks(found.of_client).beside(),
        heading(_lead(found)),
        *(paragraph(line) for line in _night(found, amounts)),
        *(paragraph(capital(line)) for line in _outside(found.numbers, amounts)),
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
    lead = f"{found.client}, {day}{chosen}, from waking at {begin} to {end} the next day"
    if found.last_reading:
        after = "" if found.last_reading[:10] == found.date else " the next day"
        lead += f". The last reading is at {clock_words(found.last_reading)}{after}."
    return lead


def _night(found: DayReview, amounts: Amounts) -> list[str]:
    wake = next((item for item in found.numbers if item.name == WAKE), None)
    said = [] if wake is None else [capital(measure_words(wake, amounts))]
    return [*said, str(found.night)]


def _outside(numbers: Sequence[Against], amounts: Amounts) -> list[str]:
    said = (WAKE, ASLEEP)
    return [
        measure_words(item, amounts) for item in numbers if item.extreme and item.name not in said
    ]


def _not_known(numbers: Sequence[Against]) -> list[str]:
    unknown = [label_words(item) for item in numbers if item.value is None and item.name != WAKE]
    return [f"Not known: {', '.join(unknown)}."] if unknown else []


def _detail(found: DayReview, amounts: Amounts) -> Parts:
    first = (WAKE, ASLEEP, CLIMB)
    known = [item for item in found.numbers if item.inside is not None and item.name not in first]
    others = [item for item in known if not item.extreme]
    few = [item for item in found.numbers if item.inside is None and item.value is not None]
    too_few = [f"{label_words(item)} {level_words(item.value, item, amounts)}" for item in few]
    said = [f"Too few other days to know what is usual: {', '.join(too_few)}."] if too_few else []
    usual = "Usual is where 95 of 100 of the client's other days are."
    body: Parts = [paragraph(usual, 2), *_within(others, amounts)] if others else []
    return [
        *section("All other measures", body),
        *(paragraph(line, 2) for line in said),
        paragraph(""),
        paragraph(" ".join(found.cautions)),
    ]


def _within(items: Sequence[Against], amounts: Amounts) -> Parts:
    rows = [
        (_row_label(item), _row_value(item, amounts), usual_words(item, amounts)) for item in items
    ]
    return table(("", ">that day", ">usual"), rows, gap=2)


def _row_label(item: Against) -> str:
    return LABELS[item.name] if item.name == MIDPOINT else item.label


def _row_value(item: Against, amounts: Amounts) -> str:
    if item.name == MIDPOINT and item.value is not None:
        return _against_usual(item.value)
    return level_words(item.value, item, amounts)


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
    parts += not_ticked_parts(client.not_ticked, client.client, 4)
    if client.message:
        parts.append(paragraph(f"Ready to send: {client.message}", 4))
    return parts
