"""Which meal of the day an occasion was: by the record, else by the client's own habit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isnan

import numpy as np

from miner.tables.clockwork import DAY, HOUR, from_usual, usual_clock
from miner.tables.occasions import MAIN, Occasion

DAWN = 4 * HOUR
"""Until then by the clock it is still the evening before."""

NAMED_OFTEN_ENOUGH = 5
NEAR = 90 * 60
APART = 150 * 60
AROUND = 45 * 60
STEP = 15 * 60
SHARE_OF_DAYS = 0.4


@dataclass(frozen=True, slots=True)
class Habit:
    """The client's usual times of the main meals, in seconds after midnight."""

    usual: Mapping[str, int]

    def nearest(self, clock: int) -> tuple[str, int]:
        """Return the main meal whose usual time is nearest, and how far off it is, in seconds."""
        away = {name: abs(int(from_usual(clock, at))) for name, at in self.usual.items()}
        name = min(away, key=lambda each: (away[each], MAIN.index(each)))
        return name, away[name]


def meal_names(
    occasions: Sequence[Occasion], days: Sequence[int], usual_wake: int
) -> tuple[str, ...]:
    """Return breakfast, lunch, dinner or snack for each occasion, empty where it is not told.

    What the log says comes first: the type, else a word of the label that fits the hour. An
    occasion without a name is the main meal whose usual time is within 90 minutes, the largest
    (else the nearest) of several, where none of that day is named so; any other is a snack. Usual
    times are those of the meals the client named, five or more of each, and the hours of the day
    around which this client ate on most days where a meal is not named so often. Without either,
    nothing is said: the clock alone names no meal.

    Args:
        occasions: in time order.
        days: the day each belongs to.
        usual_wake: the client's median waking, seconds after midnight.
    """
    told = [
        item.called((item.clock - DAWN) % DAY + DAWN, (item.clock - usual_wake) % DAY)
        for item in occasions
    ]
    habit = _habit(occasions, told, days, usual_wake)
    if habit is None:
        return tuple(told)
    names = list(told)
    wanted: dict[tuple[int, str], list[tuple[float, int, int]]] = {}
    for place, item in enumerate(occasions):
        if told[place]:
            continue
        names[place] = "snack"
        name, away = habit.nearest(item.clock % DAY)
        if away <= NEAR:
            size = 0.0 if isnan(item.carbs) else -item.carbs
            wanted.setdefault((days[place], name), []).append((size, away, place))
    taken = {(day, name) for day, name in zip(days, told, strict=True) if name}
    for (day, name), choices in wanted.items():
        if (day, name) not in taken:
            names[min(choices)[2]] = name
    return tuple(names)


def _habit(
    occasions: Sequence[Occasion], told: Sequence[str], days: Sequence[int], usual_wake: int
) -> Habit | None:
    clock = np.array([item.clock % DAY for item in occasions], np.int64)
    named = {name: clock[[each == name for each in told]] for name in MAIN}
    usual = {
        name: at
        for name, clocks in named.items()
        if clocks.size >= NAMED_OFTEN_ENOUGH and (at := usual_clock(clocks)) is not None
    }
    times = _usual_times(occasions, days)
    if len(usual) >= 2:
        return Habit(usual | _missing(usual, times, usual_wake))
    names = _in_order([(at - usual_wake) % DAY for at in times])
    found = dict(zip(names, times, strict=True)) if names else {}
    return Habit(found | usual) if found or usual else None


def _missing(usual: dict[str, int], times: Sequence[int], usual_wake: int) -> dict[str, int]:
    """Return the one main meal that is not named, where food comes back at a time that fits it.

    It fits where it lies 150 minutes or more from the meals that are named, and in its place in
    the order of the day after waking.
    """
    for name in (each for each in MAIN if each not in usual):
        for at in times:
            apart = all(abs(int(from_usual(at, other))) >= APART for other in usual.values())
            late = {each: (when - usual_wake) % DAY for each, when in (usual | {name: at}).items()}
            if apart and sorted(late, key=late.__getitem__) == list(MAIN):
                return {name: at}
    return {}


def _usual_times(occasions: Sequence[Occasion], days: Sequence[int]) -> list[int]:
    """Return up to three times of day around which food was logged on most logged days."""
    if not occasions:
        return []
    clock = np.array([item.clock % DAY for item in occasions], np.int64)
    day = np.asarray(days, np.int64)
    centre = np.arange(0, DAY, STEP)
    near = np.abs(from_usual(clock[:, None], 0) - from_usual(centre, 0)[None, :])
    near = np.minimum(near, DAY - near) <= AROUND
    counts = np.array([np.unique(day[near[:, k]]).size for k in range(centre.size)])
    least = max(NAMED_OFTEN_ENOUGH, SHARE_OF_DAYS * np.unique(day).size)
    found: list[int] = []
    while len(found) < len(MAIN) and counts.max(initial=0) >= least:
        best = int(counts.argmax())
        usual = usual_clock(clock[near[:, best]])
        found.append(int(centre[best]) if usual is None else usual)
        away = np.abs(from_usual(centre, int(centre[best])))
        counts[away < APART] = 0
    return found


def _in_order(after_waking: list[int]) -> list[str]:
    """Return the meals that usual times so long after waking stand for."""
    if len(after_waking) == len(MAIN):
        order = np.argsort(after_waking)
        names = dict(zip(order.tolist(), MAIN, strict=True))
        return [names[k] for k in range(len(MAIN))]
    names_found = [
        "breakfast" if late < 3 * HOUR else "lunch" if late < 8 * HOUR else "dinner"
        for late in after_waking
    ]
    return names_found if len(set(names_found)) == len(names_found) else []
