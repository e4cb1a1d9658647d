"""Which habit happened on which day, and the level of each day they may react to."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .scenario import OF_THE_NIGHT, Habit, Scenario

Flags = NDArray[np.bool_]
Floats = NDArray[np.floating[Any]]


def rest_days(scenario: Scenario) -> Flags:
    """Return Saturday or Sunday for each row; row 0 is the day before the records begin."""
    first = scenario.start.weekday() - 1
    rows: Flags = (np.arange(scenario.days + 2) + first) % 7 >= 5
    return rows


def day_levels(scenario: Scenario) -> Floats:
    """Return the level of each waking day about 0, mg/dL: a stationary AR(1)."""
    shocks = scenario.generator("level").normal(size=scenario.days + 2)
    phi = scenario.persistence
    levels = np.empty_like(shocks)
    levels[0] = shocks[0]
    for i in range(1, len(shocks)):
        levels[i] = phi * levels[i - 1] + np.sqrt(1.0 - phi**2) * shocks[i]
    return scenario.level_sd * levels


def happened(scenario: Scenario, levels: Floats, rest: Flags) -> Mapping[str, Flags]:
    """Return yes or no for each habit and row.

    A habit is a two-state Markov chain: P(yes today) = p + r (yes yesterday - p), with frequency p
    and persistence r. Where habits react, the log odds rise with the level of the day before. A
    night belongs to the row that it opens; bedtime is in the evening before, so it reacts to the
    level of the day before that evening. Levels change at waking, which keeps every reaction
    strictly in the past of what the habit may come before.

    A habit that has a true effect is drawn again, up to 50 times, until its share of the recorded
    days is within 0.08 of its frequency: a month without the habit would not show its effect.
    What was followed because it was asked for comes after that.
    """
    acting = {effect.factor for effect in scenario.effects}
    flags = {}
    for name, habit in scenario.habits.items():
        if habit.together:
            continue
        push = _push(scenario, levels, rest, name)
        for attempt in range(50 if name in acting else 1):
            part = f"habit {name} {attempt}" if attempt else f"habit {name}"
            draws = scenario.generator(part).random(len(levels))
            flags[name] = _chain(habit, draws, push)
            away = abs(flags[name][1:-1].mean() - habit.frequency)
            if away <= max(0.08, 0.5 / scenario.days):
                break
    for name, habit in scenario.habits.items():
        if habit.together:
            flags[name] = flags[habit.together]
    for name, days in scenario.followed.items():
        for day, yes in days.items():
            flags[name][(day - scenario.start).days + 1] = yes
    flags["walk_after_breakfast"] = flags["walk_after_breakfast"] & ~flags["no_breakfast"]
    return flags


def _chain(habit: Habit, draws: Floats, push: Floats) -> Flags:
    p, r = habit.frequency, habit.persistence
    yes = bool(draws[0] < p)
    out = [yes]
    for draw, odds in zip(draws[1:].tolist(), np.exp(push[1:]).tolist(), strict=True):
        chance = p + r * (yes - p)
        yes = draw * (1.0 - chance + chance * odds) < chance * odds
        out.append(yes)
    return np.array(out, dtype=np.bool_)


def _push(scenario: Scenario, levels: Floats, rest: Flags, name: str) -> Floats:
    push = np.zeros(len(levels))
    if scenario.reactive and scenario.level_sd > 0:
        back = 2 if name in OF_THE_NIGHT else 1
        push[back:] = scenario.reaction * levels[:-back] / scenario.level_sd
    return push + scenario.weekend_habits * rest
