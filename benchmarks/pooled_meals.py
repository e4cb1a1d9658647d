"""How often a small practice is told something by meal or by day where nothing is true.

    python -m benchmarks.pooled_meals --tries 20 --out benchmarks/results/pooled_meals.md

Practices of 5, 10 and 20 clients, 28 days of three meals. Three measured habits: the grams of a
meal, the hour of it, the hours slept before its day; each is asked as a cut at the client's own
quarter and as a dose. By meal they meet its rise; by day the grams of the day, the mean hour and
the sleep meet the mean of the day's rises and the largest. The decision is the shipped one: both
shapes, Holm, half the claim level for each unit, and the doubt about the weekday. Clear: anything
called clear by day or by meal. Found: the grams called clear where a rise goes with them by
``--effect`` SD of a meal for each SD of grams, on average, with a spread between clients of half
of that.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from scipy.stats import binomtest

from miner import rulebook
from miner.caseload.fitting import HabitFit, _along, weekday_doubt
from miner.caseload.pooling import adjusted, judge
from miner.caseload.question import Units, fit_question, usable, usable_dose
from miner.core.results import Doubt, Evidence, Shape

DAYS, MEALS = 28, 3
WORTH = 0.1
GUARD = rulebook.load().guardrails
WORLDS = {
    "meals know nothing of each other": (0.0, 0.0, False, False),
    "days differ and last": (0.5, 0.5, False, False),
    "habits react to yesterday": (0.5, 0.5, True, False),
    "all have one week in common": (0.3, 0.3, False, True),
}


def practice(
    world: str, clients: int, seed: int, effect: float
) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Return the habits by meal, (clients, days, meals), and the rise of each."""
    of_day, phi, reacting, weekly = WORLDS[world]
    rng = np.random.default_rng([seed, clients, list(WORLDS).index(world)])
    shape = (clients, DAYS, MEALS)
    week = np.random.default_rng([seed, 7]).normal(size=(2, 7))[:, np.arange(DAYS) % 7]
    level = rng.normal(size=shape[:2])
    habit, noise = rng.normal(size=(3, *shape[:2])), rng.normal(size=shape)
    for day in range(1, DAYS):
        level[:, day] = phi * level[:, day - 1] + np.sqrt(1 - phi**2) * level[:, day]
        seen = np.sqrt(of_day) * level[:, day - 1] + noise[:, day - 1].mean(axis=1)
        habit[:, :, day] += 0.3 * habit[:, :, day - 1] + (0.6 * seen if reacting else 0.0)
    if weekly:
        habit, level = habit + week[0], level + week[1]
    own = rng.normal(size=(3, *shape))
    grams = 50 + 15 * (0.5 * habit[0][:, :, None] + own[0]) + [0, 10, 20]
    hour = np.array([8.0, 13.0, 19.0]) + 2.0 * (habit[1][:, :, None] + own[1])
    sleep = np.repeat(7 + 0.9 * habit[2][:, :, None], MEALS, axis=2)
    slope = effect * (1 + 0.5 * rng.normal(size=(clients, 1, 1)))
    rise = np.sqrt(of_day) * level[:, :, None] + noise + [0, 0.3, 0.5]
    rise += 2 * rng.normal(size=(clients, 1, 1)) + slope * (grams - 60) / 16.8
    return {"grams": grams, "hour": hour, "sleep": -sleep}, rise


def by_unit(
    habits: dict[str, np.ndarray], rise: np.ndarray, unit: str
) -> Iterator[tuple[str, dict[Shape, Units], float]]:
    """Yield each question: its habit, its units by shape, and how far quarters lie apart."""
    clients, meal = rise.shape[0], unit == "meal"
    width = MEALS if meal else 1
    g = np.repeat(np.arange(clients), DAYS * width)
    day = np.repeat(np.tile(np.arange(float(DAYS)), clients), width)
    place = np.tile(np.arange(width), clients * DAYS)
    t = day + (np.array([0.33, 0.54, 0.8])[place] if meal else 0.0)
    usual = [(day % 7 >= 5) * 1.0, day - day.mean()]
    usual += [(place == at) * 1.0 for at in (1, 2)] if meal else []
    grams = habits["grams"].ravel() if meal else None
    outcomes = [rise.ravel()] if meal else [rise.mean(axis=2).ravel(), rise.max(axis=2).ravel()]
    for name, values in habits.items():
        total = values.sum(axis=2) if name == "grams" else values.mean(axis=2)
        x = values.ravel() if meal else total.ravel()
        beside = usual if name == "grams" or grams is None else [*usual, grams]
        nuisance = np.column_stack(beside)
        high = np.concatenate([x[g == k] > np.quantile(x[g == k], 0.75) for k in range(clients)])
        for y in outcomes:
            made = {
                shape: Units(
                    y, column, g, t, nuisance, tuple(range(nuisance.shape[1])), np.arange(g.size)
                )
                for shape, column in ((Shape.CUT, high * 1.0), (Shape.DOSE, x))
            }
            span = float(
                np.median(
                    [np.subtract(*np.quantile(x[g == k], (0.75, 0.25))) for k in range(clients)]
                )
            )
            yield name, made, span


def clear(habits: dict[str, np.ndarray], rise: np.ndarray, unit: str) -> set[str]:
    """Return the habits that are called clear by one unit."""
    found = []
    for name, made, span in by_unit(habits, rise, unit):
        units = {
            Shape.CUT: usable(made[Shape.CUT], fewest_each_side=2, fewest_units=14, least_kept=0.1),
            Shape.DOSE: usable_dose(
                made[Shape.DOSE],
                fewest_different=5,
                largest_tied=0.5,
                fewest_units=14,
                least_kept=0.1,
            ),
        }
        fits = {shape: fit_question(own, each=False) for shape, own in units.items()}
        found.append((name, units, HabitFit(fits, {}, span, _along(units))))
    passed = set()
    all_p = adjusted([habit.p for _, _, habit in found])
    for (name, units, habit), p in zip(found, all_p, strict=True):
        shape = habit.shape
        worth = WORTH / (span if (span := habit.span) and shape is Shape.DOSE else 1.0)

        def doubts(difference: float, own: Units = units[shape]) -> tuple[Doubt, ...]:
            doubt = weekday_doubt(own, difference, GUARD.weekday_level_searched)
            return () if doubt is None else (doubt,)

        answer = habit.best.answer
        if judge(answer, habit.p, float(p), worth, GUARD, doubts)[0] is Evidence.CLEAR:
            passed.add(name)
    return passed


def rates(count: int, of: int) -> str:
    """Return a count with its share and the 95 % interval of that, in percent."""
    low, high = binomtest(count, of).proportion_ci(method="exact")
    return f"{count} of {of}: {100 * count / of:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def main() -> None:
    """Print and write a table of rates."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tries", type=int, default=20)
    parser.add_argument("--clients", type=int, nargs="*", default=[5, 10, 20])
    parser.add_argument("--effect", type=float, default=0.15)
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--out", type=Path)
    asked = parser.parse_args()
    lines = [
        "| world | clients | clear where nothing is true | found by meal | found by day |",
        "|---|---|---|---|---|",
    ]
    wrong = 0
    for world in WORLDS:
        for clients in asked.clients:
            count = dict.fromkeys(("wrong", "meal", "day"), 0)
            for seed in range(asked.seed, asked.seed + asked.tries):
                null = practice(world, clients, seed, 0.0)
                count["wrong"] += any(clear(*null, unit) for unit in ("day", "meal"))
                true = practice(world, clients, seed, asked.effect)
                for unit in ("meal", "day"):
                    count[unit] += "grams" in clear(*true, unit)
            wrong += count["wrong"]
            lines.append(
                f"| {world} | {clients} | {rates(count['wrong'], asked.tries)} "
                f"| {count['meal']} of {asked.tries} | {count['day']} of {asked.tries} |"
            )
            print(lines[-1], flush=True)
    of = asked.tries * len(WORLDS) * len(asked.clients)
    lines.append(f"\nAny clear where nothing is true, all rows: {rates(wrong, of)}; gate 5 %.")
    print(lines[-1])
    if asked.out is not None:
        head = (
            "# Small practices, by meal and by day\n\n`python -m benchmarks.pooled_meals --tries "
            f"{asked.tries} --effect {asked.effect:g} --seed {asked.seed}`. 95 % intervals by "
            "Clopper and Pearson.\n\n"
        )
        asked.out.write_text(head + "\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
