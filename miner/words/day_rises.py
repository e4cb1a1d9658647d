"""The rises of a day in words, with what was recorded before each."""

from __future__ import annotations

from collections.abc import Sequence

from miner.core.results.morning import Noted, RiseOfDay
from miner.words.amounts import Amounts
from miner.words.document import Parts, item, paragraph
from miner.words.morning_words import clock_words
from miner.words.safe import clean, name
from miner.words.wording import listed

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
