"""What a day and a practice's morning say, in words."""

from __future__ import annotations

from collections.abc import Sequence

from miner.core.results.morning import Against, RiseOfDay
from miner.words.amounts import Amounts, fixed
from miner.words.wording import listed

WAKE, ASLEEP, MIDPOINT, CLIMB = (
    "wake_glucose",
    "asleep_hours",
    "midpoint_later_than_usual",
    "biggest_rise",
)
_NIGHTS = (ASLEEP, MIDPOINT, "overnight_mean", "awake_share", "deep_share")
_ORDER = ("second", "third")
LABELS = {
    WAKE: "waking glucose",
    ASLEEP: "time asleep",
    MIDPOINT: "middle of the night",
    CLIMB: "the largest climb within 3 hours",
}
"""What is said where the label of the rule book is part of another sentence."""


def level_words(value: float | None, item: Against, amounts: Amounts, *, unit: bool = True) -> str:
    """Return a value of a measure, with its unit where that is wanted."""
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


def label_words(item: Against) -> str:
    """Return what a measure is called."""
    return LABELS.get(item.name, item.label)


def measure_words(item: Against, amounts: Amounts) -> str:
    """Return a measure with its value and, where it is not as usual, its place.

    As in ``waking glucose 117 mg/dL, second highest of 39 mornings``. Of the largest climb no
    number is told: each rise has its own height, from another start.
    """
    value = item.value
    if value is None:
        return f"{label_words(item)} is not known: {item.reason}"
    place = place_words(item)
    if item.name == CLIMB:
        return f"{label_words(item)} was {place}" if place else label_words(item)
    if item.name == MIDPOINT:
        way = "later" if value > 0 else "earlier"
        told = f"{label_words(item)} {fixed(abs(value), 0)} minutes {way} than usual"
    else:
        told = f"{label_words(item)} {level_words(value, item, amounts)}"
    return f"{told}, {place}" if place else told


def place_words(item: Against) -> str:
    """Return where a value stands among the days: ``second highest of 39 mornings``; else empty."""
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
    return " to ".join(level_words(end, item, amounts, unit=False) for end in (item.low, item.high))


def _words_of(item: Against) -> tuple[str, str]:
    if item.name.endswith("_clock") or item.name == MIDPOINT:
        return "latest", "earliest"
    if item.unit == "h":
        return "longest", "shortest"
    if "mg/dL" in item.unit or item.unit == "share":
        return "highest", "lowest"
    return "most", "least"


def _days_of(item: Against) -> str:
    if item.name == WAKE:
        return "mornings"
    return "nights" if item.name in _NIGHTS else "days"


NOT_A_PATTERN = "One day is never a pattern. Nothing here says what went with what."
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
    return (
        f"A low of {amounts.level(lowest, 'mg/dL')} {amounts.unit('mg/dL')} from "
        f"{clock_words(start)} to {clock_words(end)}, asleep, may be pressure on the sensor. "
        "Ask how the client lay; if it was pressure, note it in client.toml under "
        f"[[pressure_lows]]. {'Until then take it as real. ' if lowest < VERY_LOW else ''}"
        "Do not ignore symptoms."
    )


def night_words(start: str, end: str, hours: Against | None) -> str:
    """Return the night that opens the day in one sentence."""
    span = f"{clock_words(start)} to {clock_words(end)}"
    if hours is None or hours.value is None:
        return f"The night before: {span}."
    place = place_words(hours)
    return f"Asleep {fixed(hours.value, 1)} hours ({span}){f', {place}' if place else ''}."


def not_as_usual(numbers: Sequence[Against]) -> str:
    """Return a question about numbers of the day that are not as usual."""
    return f"How was that day for you? Not as usual: {listed([label_words(i) for i in numbers])}."


def about_rises(alone: Sequence[RiseOfDay], amounts: Amounts) -> str:
    """Return one question about all rises without a meal."""
    clocks = listed([clock_words(rise.start) for rise in alone])
    if len(alone) > 1:
        return f"What was going on around {clocks}? These rises have no meal beside them."
    size = f"{amounts.level(alone[0].height, 'mg/dL')} {amounts.unit('mg/dL')}"
    return f"What was going on around {clocks}? A rise of {size} has no meal beside it."
