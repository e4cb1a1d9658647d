"""What a day and a practice's morning say, in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from miner.core.messages import Message
from miner.core.results.morning import Against, RiseOfDay
from miner.words.amounts import Amounts, fixed
from miner.words.reasons import is_of_tracker
from miner.words.unusual import label_words, place_words
from miner.words.wording import listed

NOT_A_PATTERN = "One day is never a pattern. Nothing here says what went with what."
NO_WATCH = (
    "This is no safety watch. It reads records after they were exported, and nobody is looking "
    "in between. Very high, very low, or unwell: contact the clinician. Emergency: the local "
    "number."
)
OUTSIDE_ASKED = 3
VERY_LOW = 54
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip


def day_words(iso: str) -> str:
    """Return a date as a person says it: Monday 12 January."""
    day = date.fromisoformat(iso)
    return f"{WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]}"


def clock_words(minute: str) -> str:
    """Return the time of day of a minute on the wall clock."""
    return minute[11:16]


def pressure_words(lows: Sequence[tuple[str, str, float]], amounts: Amounts) -> list[str]:
    """Return a question for each low that may be pressure on the sensor.

    Args:
        lows: begin and end on the wall clock to the minute, and the lowest reading in mg/dL.
        amounts: the unit shown.
    """
    return [
        f"A low of {amounts.level(lowest, 'mg/dL')} {amounts.unit('mg/dL')} from "
        f"{clock_words(start)} to {clock_words(end)}, asleep, may be pressure on the sensor. "
        "Ask how the client lay; if it was pressure, note it in client.toml under "
        f"[[pressure_lows]]. {'Until then take it as real. ' if lowest < VERY_LOW else ''}"
        "Do not ignore symptoms."
        for start, end, lowest in lows
    ]


def night_words(
    start: str | None, end: str | None, hours: Against | None, why: Message | str | None
) -> str:
    """Return the night that opens the day in one sentence."""
    if start is None or end is None:
        return f"The night before: {why or 'not recorded'}."
    span = f"{clock_words(start)} to {clock_words(end)}"
    if hours is None or hours.value is None:
        return f"The night before: {span}."
    place = place_words(hours)
    return f"Asleep {fixed(hours.value, 1)} hours ({span}){f', {place}' if place else ''}."


def questions(
    rises: Sequence[RiseOfDay],
    numbers: Sequence[Against],
    meals: int,
    amounts: Amounts,
    *,
    food: bool = True,
) -> tuple[str, ...]:
    """Return what could be asked about a day: open questions, none of which says why.

    Args:
        rises: of the day.
        numbers: of the day beside what is usual.
        meals: how many meals are logged.
        amounts: the unit shown.
        food: whether anything may be asked about meals.
    """
    asked = _about_rises(rises, amounts) if food else []
    if food and not meals:
        asked.append("What did you eat and drink that day? Nothing is logged.")
    outside = [item for item in numbers if item.inside is False][:OUTSIDE_ASKED]
    if outside:
        named = listed([label_words(item) for item in outside])
        asked.append(f"How was that day for you? Not as usual: {named}.")
    unknown = [item for item in numbers if is_of_tracker(item.reason)]
    if unknown:
        asked.append("Was the tracker on? Some of the day is not known.")
    return tuple(asked)


def _about_rises(rises: Sequence[RiseOfDay], amounts: Amounts) -> list[str]:
    """Return one question about all rises without a meal."""
    alone = [rise for rise in rises if rise.unlogged]
    if not alone:
        return []
    clocks = listed([clock_words(rise.start) for rise in alone])
    if len(alone) > 1:
        return [f"What was going on around {clocks}? These rises have no meal beside them."]
    size = f"{amounts.level(alone[0].height, 'mg/dL')} {amounts.unit('mg/dL')}"
    return [f"What was going on around {clocks}? A rise of {size} has no meal beside it."]


def message(last: str | None, what: str) -> str:
    """Return a message to the client, ready to send."""
    since = f"since {day_words(last)}" if last else "yet"
    if what == "tracker":
        return (
            f"Hello. Your tracker shows nothing {since}. Could you see whether it is charged, worn "
            "and connected? Thank you."
        )
    return (
        f"Hello. Your log shows nothing {since}. Could you note what you eat and drink today? A "
        "few words are enough, and rough is fine. Thank you."
    )


def on_test_words(kind: str, what: str, counted: bool, arm: str, tick: str, why: str) -> str:
    """Return how a day counts for something kept or on test; never whether it agrees."""
    state = "day counted" if counted else f"day not counted ({why})"
    text = f"{what}: {state}"
    if kind == "alternate" and arm:
        text += ", the change" if arm == "change" else ", as usual"
    if tick == "missing":
        text += ", tick missing"
    elif tick:
        text += f", ticked {tick}"
    return f"{text}."
