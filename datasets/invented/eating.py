"""What the client really ate, and when; the diary notes most of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .habits import Flags, Floats
from .nights import DAY, Nights
from .scenario import Scenario

FOODS = {
    "breakfast": ("porridge", "toast", "eggs", "yoghurt"),
    "lunch": ("salad", "soup", "sandwich", "rice bowl"),
    "dinner": ("pasta", "fish", "curry", "stew"),
    "snack": ("yoghurt", "nuts", "cheese"),
    "carb snack": ("apple", "biscuits", "juice"),
}
LATE = (21 * 60 + 5, 21 * 60 + 35)


@dataclass(frozen=True, slots=True)
class Meals:
    """Every meal in time order: row, name of the meal, minute, grams, food."""

    row: NDArray[np.int64]
    meal: NDArray[np.str_]
    time: Floats
    carbs: Floats
    protein: Floats
    food: NDArray[np.str_]


def eat(scenario: Scenario, flags: Mapping[str, Flags], nights: Nights) -> Meals:
    """Return the meals of every row.

    Breakfast comes about 45 minutes after waking, lunch about 12:45, dinner about 19:00, or from
    21:05 to 21:35 when it is late; a snack after dinner follows it by 40 to 55 minutes. Grams do
    not depend on the day, except for the habits that are defined by them; where the scenario says
    how many grams a meal has, not on these either.
    """
    rng = scenario.generator("meals")
    n = len(nights.wake)
    midnight = np.arange(n) * float(DAY)
    usual = midnight + np.clip(rng.normal(1140.0, 20.0, n), 1100.0, 1200.0)
    dinner = np.where(flags["late_dinner"], midnight + rng.uniform(*LATE, n), usual)
    high = np.where(
        flags["high_carb_dinner"], rng.uniform(62.0, 85.0, n), rng.uniform(38.0, 56.0, n)
    )
    yes = np.ones(n, dtype=np.bool_)
    parts = [
        _course("breakfast", ~flags["no_breakfast"], nights.wake + rng.normal(45.0, 10.0, n)),
        _course("lunch", yes, midnight + rng.normal(765.0, 15.0, n)),
        _course("dinner", yes, dinner),
        _course("snack", flags["snack"], midnight + rng.uniform(910.0, 960.0, n)),
        _course("carb snack", flags["carb_only_snack"], midnight + rng.uniform(980.0, 1030.0, n)),
        _course("snack", flags["evening_snack"], dinner + rng.uniform(40.0, 55.0, n)),
    ]
    row = np.concatenate([part[0] for part in parts])
    meal = np.concatenate([part[1] for part in parts])
    time = np.concatenate([part[2] for part in parts])
    carbs, protein = _grams(rng, meal)
    carbs = np.where(meal == "dinner", high[row], carbs)
    for name, (least, most) in scenario.grams.items():
        own = scenario.generator(f"grams of {name}").uniform(least, most, len(meal))
        carbs = np.where(meal == name, own, carbs)
    food = np.array(
        [FOODS[m][k % len(FOODS[m])] for m, k in zip(meal, _picks(rng, meal), strict=True)]
    )
    order = np.argsort(time, kind="stable")
    return Meals(
        row[order],
        meal[order],
        np.round(time[order]),
        np.round(carbs[order]),
        np.round(protein[order]),
        food[order],
    )


def _course(
    name: str, eaten: Flags, time: Floats
) -> tuple[NDArray[np.int64], NDArray[np.str_], Floats]:
    row = np.flatnonzero(eaten).astype(np.int64)
    return row, np.full(len(row), name), time[row]


def _grams(rng: np.random.Generator, meal: NDArray[np.str_]) -> tuple[Floats, Floats]:
    carbs, protein = np.zeros(len(meal)), np.zeros(len(meal))
    usual = {
        "breakfast": (25, 60, 8, 22),
        "lunch": (30, 75, 12, 32),
        "dinner": (0, 1, 15, 38),
        "snack": (5, 13, 6, 12),
        "carb snack": (17, 32, 0, 3),
    }
    for name, (low, high, least, most) in usual.items():
        at = meal == name
        carbs[at] = rng.uniform(low, high, int(at.sum()))
        protein[at] = rng.uniform(least, most, int(at.sum()))
    return carbs, protein


def _picks(rng: np.random.Generator, meal: NDArray[np.str_]) -> list[int]:
    picks: list[int] = rng.integers(0, 12, len(meal)).tolist()
    return picks
