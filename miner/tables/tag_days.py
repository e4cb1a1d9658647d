"""Tags by day: which may be habits, which name medicines, pregnancy or illness."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from miner.tables.columns import DAY, Source, fold, origins, seconds, whole_words, words

if TYPE_CHECKING:
    from miner.records.client import Client
    from miner.rulebook import Cautions
    from miner.tables.sleep.nights import Days

FEWEST_DAYS = 3
MOST_TAGS = 20


@dataclass(frozen=True, slots=True)
class Tags:
    """Tags by the place of the day they fall in.

    Attributes:
        rows: tag, then place of the day, then the rows of that tag on that day.
        habits: tags that may be factors: on three days or more, the twenty commonest, by name.
        passed_over: other tags that could be habits, with on how many days, the commonest first:
            those after the twentieth, and those on fewer than three days.
        kinds: "medicine", of these "glucose_medicine", "pregnancy" and "illness", then the tags
            of that kind in the order of
            time, each with the wall-clock day number of its first use.
        illness: day numbers on which an illness was noted.
        noted: places of the days on which any tag was noted, of whatever kind.
    """

    rows: Mapping[str, Mapping[int, tuple[Source, ...]]]
    habits: tuple[str, ...]
    passed_over: tuple[tuple[str, int], ...]
    kinds: Mapping[str, Mapping[str, int]]
    illness: tuple[int, ...]
    noted: frozenset[int]

    def illness_near(self, days_around: int) -> dict[int, int]:
        """Return day numbers within so many days of an illness, with the nearest illness day."""
        near: dict[int, int] = {}
        for offset in sorted(range(-days_around, days_around + 1), key=abs):
            for day in self.illness:
                near.setdefault(day + offset, day)
        return near


def tags_of(client: Client, days: Days, cautions: Cautions) -> Tags:
    """Sort the used tags by day and by kind; a tag with an end counts on every day it touches."""
    frame = client.used("tags")
    names, rows = words(frame["tag"]), origins(frame)
    start, end = seconds(frame["start"]), seconds(frame["end"])
    clock, to_clock = seconds(frame["start_clock"]) // DAY, seconds(frame["end_clock"]) // DAY
    patterns = {
        "medicine": whole_words(cautions.medicine_words),
        "glucose_medicine": whole_words(cautions.glucose_medicine_words),
        "pregnancy": whole_words(cautions.pregnancy_words),
        "illness": whole_words(cautions.illness_words),
    }
    kinds: dict[str, dict[str, int]] = {kind: {} for kind in patterns}
    illness: set[int] = set()
    noted: set[int] = set()
    by_tag: dict[str, dict[int, list[Source]]] = {}
    for k, name in enumerate(names):
        told = [kind for kind, own in patterns.items() if _names_any(own, name, client)]
        for kind in told:
            kinds[kind].setdefault(name, int(clock[k]))
        if "illness" in told:
            illness.update(range(int(clock[k]), int(to_clock[k]) + 1))
        for place in _touched(days, int(start[k]), int(end[k])):
            noted.add(place)
            if not told and name:
                by_tag.setdefault(name, {}).setdefault(place, []).append(rows[k])
    kept = {tag: {d: tuple(r) for d, r in at.items()} for tag, at in by_tag.items()}
    ordered = sorted(kept, key=lambda tag: (-len(kept[tag]), tag))
    ranked = [tag for tag in ordered if len(kept[tag]) >= FEWEST_DAYS][:MOST_TAGS]
    return Tags(
        rows=kept,
        habits=tuple(sorted(ranked)),
        passed_over=tuple((tag, len(kept[tag])) for tag in ordered[len(ranked) :]),
        kinds=kinds,
        illness=tuple(sorted(illness)),
        noted=frozenset(noted),
    )


def _names_any(pattern: re.Pattern[str], tag: str, client: Client) -> bool:
    """Say whether a tag, or one that the client's synonyms join to it, holds one of the words."""
    behind = (own for own, stands_for in client.settings.synonyms.items() if stands_for == tag)
    return any(pattern.search(fold(text)) for text in (tag, *behind))


def _touched(days: Days, start: int, end: int) -> range:
    """Return the places of the days a tag touches; its end itself is not included."""
    if not len(days) or end < days.start[0] or start >= days.end[-1]:
        return range(0)
    first = int(np.searchsorted(days.start, start, side="right")) - 1
    last = int(np.searchsorted(days.start, max(start, end - 1), side="right")) - 1
    return range(max(first, 0), min(max(last, first), len(days) - 1) + 1)
