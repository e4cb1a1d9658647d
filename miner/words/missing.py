"""What is missing in the records: what to ask the client about, what to log better."""

from __future__ import annotations

from miner.core.errors import several
from miner.core.results.briefing import DayPicture
from miner.words.labels import factor_phrase
from miner.words.teller import Teller
from miner.words.wording import day_name

KNOWN_ENOUGH = 2 / 3
FEW_NOTES = 1
MOST_FIRST = 8


def ask_about(teller: Teller) -> tuple[list[str], list[str]]:
    """Return the days to ask about first, and the others.

    First are high days with nothing noted, then high days with rises and no meal noted; of a long
    record only so many as there is time for. Other days with such rises follow.
    """
    bare: list[str] = []
    high: list[str] = []
    others: list[str] = []
    for day in teller.brief.days:
        if not day.usable:
            continue
        if day.high and day.meals + day.tags == 0:
            bare.append(f"{day_name(day.day)}: in the higher quarter, and nothing was noted.")
        elif day.unlogged_rises:
            rises = several(day.unlogged_rises, "rise")
            which = ", in the higher quarter" if day.high else ""
            said = f"{day_name(day.day)}{which}: {rises} with no meal noted ({_noted(day)})."
            (high if day.high else others).append(said)
    first = bare + high
    return first[:MOST_FIRST], first[MOST_FIRST:] + others


def log_better(teller: Teller) -> list[str]:
    """Return the habits known on too few days, the streams that are missing, and thin days."""
    check = teller.brief.check
    said = [
        f"{name}: nothing was recorded." for name, item in check.streams.items() if not item.rows
    ]
    little = sorted(
        (count, factor_phrase(name, teller.rules))
        for name, count in check.known_factors.items()
        if count < KNOWN_ENOUGH * check.usable_days
    )
    said += [
        f"{phrase}: known on {count} of {several(check.usable_days, 'day')}."
        for count, phrase in little
    ]
    thin = [day for day in teller.brief.days if day.usable and day.meals <= FEW_NOTES]
    if thin:
        said.append(f"Meals: one or none noted on {several(len(thin), 'usable day')}.")
    return said


def _noted(day: DayPicture) -> str:
    return f"{several(day.meals, 'meal')} and {several(day.tags, 'tag')} noted"
