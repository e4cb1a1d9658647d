"""What a day and a practice's morning say, in words."""

from __future__ import annotations

from collections.abc import Sequence

from miner.core.results.morning import Against, RiseOfDay
from miner.words.amounts import Amounts, fixed
from miner.words.unusual import label_words, place_words
from miner.words.wording import listed

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
