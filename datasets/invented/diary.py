"""What the client noted down: meals and tags, with gaps, fading and other spellings."""

from __future__ import annotations

import numpy as np

from .habits import Flags, Floats
from .nights import DAY
from .tables import Table, iso, table, whole, within
from .world import World


def noted_days(world: World) -> Flags:
    """Return the rows on which anything was noted; fewer towards the end where logging fades."""
    scenario, n = world.scenario, len(world.rest)
    chance = scenario.logging * (1.0 - scenario.fading * np.linspace(0.0, 1.0, n))
    noted: Flags = scenario.generator("noted").random(n) < chance
    return noted


def meals_table(world: World) -> Table:
    """Return the meals as noted: most of those on noted days, a few without grams."""
    scenario, meals = world.scenario, world.meals
    rng = scenario.generator("meal notes")
    kept, plain, blank = (rng.random(len(meals.row)) for _ in range(3))
    keep = noted_days(world)[meals.row] & (kept < 0.96) & within(scenario, meals.time)
    at = np.flatnonzero(keep)
    labels = []
    for i in at:
        name = str(meals.meal[i]).removeprefix("carb ")
        labels.append(name if plain[i] < 0.1 else f"{name} {meals.food[i]}")
    carbs = np.where(blank < 0.03, np.nan, meals.carbs)
    protein = np.where(blank < 0.03, np.nan, meals.protein)
    return table(
        ("time", "label", "carbs_g", "protein_g"),
        iso(scenario, meals.time[at]),
        labels,
        whole(carbs[at]),
        whole(protein[at]),
    )


def tags_table(world: World) -> Table:
    """Return the tags as noted on noted days."""
    scenario, n = world.scenario, len(world.rest)
    noted = noted_days(world)
    rows: list[tuple[str, ...]] = []
    for name, flags in world.happened.items():
        if not name.startswith("tag:"):
            continue
        rng = scenario.generator(f"note {name}")
        time, kept = np.round(_when(world, name, rng.uniform(0.0, 30.0, n))), rng.random(n)
        other, which = rng.random(n) < scenario.misspelt, rng.integers(0, 3, n)
        at = np.flatnonzero(flags & noted & (kept < 0.97) & within(scenario, time))
        word = name.removeprefix("tag:")
        spelt = [misspellings(word)[which[i]] if other[i] else word for i in at]
        rows += zip(iso(scenario, time[at]), spelt, strict=True)
    return Table(("time", "tag"), sorted(rows))


def misspellings(word: str) -> tuple[str, str, str]:
    """Return three other ways of writing a tag: a capital, a stray space, two letters swapped."""
    return word.capitalize(), f" {word} ", word[:1] + word[1:3][::-1] + word[3:]


def _when(world: World, name: str, later: Floats) -> Floats:
    midnight = np.arange(len(world.rest)) * float(DAY)
    if name in ("tag:wine", "tag:restaurant"):
        at = world.meals.meal == "dinner"
        dinner = midnight.copy()
        dinner[world.meals.row[at]] = world.meals.time[at]
        return dinner + 5.0 + later / 3.0
    return midnight + (16 * 60 + 40.0 if "coffee" in name else 13 * 60.0) + later
