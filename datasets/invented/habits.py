"""Which habit happened on which day, and the level of each day they may react to."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .scenario import OF_THE_NIGHT, Scenario

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
    """
    own = [name for name, habit in scenario.habits.items() if not habit.together]
    p = np.array([scenario.habits[name].frequency for name in own])
    r = np.array([scenario.habits[name].persistence for name in own])
    draws = np.array([scenario.generator(f"habit {name}").random(len(levels)) for name in own])
    push = _push(scenario, levels, rest, own)
    state = draws[:, 0] < p
    out = np.empty(draws.shape, dtype=np.bool_)
    out[:, 0] = state
    for i in range(1, len(levels)):
        chance = np.clip(p + r * (state - p), 0.0, 1.0)
        up = chance * np.exp(push[:, i])
        state = draws[:, i] * (1.0 - chance + up) < up
        out[:, i] = state
    flags: dict[str, Flags] = dict(zip(own, out, strict=True))
    for name, habit in scenario.habits.items():
        if habit.together:
            flags[name] = flags[habit.together]
    flags["walk_after_breakfast"] = flags["walk_after_breakfast"] & ~flags["no_breakfast"]
    return flags


def _push(scenario: Scenario, levels: Floats, rest: Flags, names: list[str]) -> Floats:
    push = np.zeros((len(names), len(levels)))
    if scenario.reactive and scenario.level_sd > 0:
        past = scenario.reaction * levels / scenario.level_sd
        for j, name in enumerate(names):
            back = 2 if name in OF_THE_NIGHT else 1
            push[j, back:] = past[:-back]
    return push + scenario.weekend_habits * rest
