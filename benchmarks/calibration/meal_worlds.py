"""How often meals are called something where nothing is true, with 3 to 5 of them a day.

    python -m benchmarks.calibration.meal_worlds [--diaries 200] [--draws 499] [--workers 2]

Each diary has 15 factors, of which 6 are the same for all meals of a day and persist from day to
day. An outcome is the day's own level, AR(1) from day to day, plus the meal's own scatter plus
which meal it was. Prints, for each world, in how many diaries anything is clear: by the shipped
ranking (four outcomes, the search with all its guards), by the primary outcome's half of the
level, and on one outcome by a permutation of the rows that knows nothing of days. Writes
``results/meal_worlds.md``.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from joblib import Parallel, delayed

from miner import rulebook
from miner.core.results import Evidence
from miner.hypotheses.design import Run, design
from miner.hypotheses.rank import rank_table
from miner.hypotheses.search import search
from miner.rulebook import RuleBook
from miner.stats.effects import orthonormal
from miner.stats.maxt import Block, judge, shuffles
from miner.tables.unit_table import UnitTable

OUTCOMES = ("rise", "area_2h", "peak", "minutes_above")
BY_DAY, BY_MEAL = 6, 9
SHARED = 0.6
FIRST_DAY = 20514
MEALS = ("breakfast", "lunch", "dinner", "snack")
HABIT_PHI = 0.5


@dataclass(frozen=True)
class MealWorld:
    """Variance of the day over the meal's own, and its correlation from day to day."""

    ratio: float
    phi: float


WORLDS = (MealWorld(0.0, 0.0), MealWorld(0.3, 0.3), MealWorld(1.0, 0.5))


def diary(world: MealWorld, days: int, seed: int, shift: float = 0.0) -> UnitTable:
    """Draw one diary; ``shift`` is added, in SD of a meal, where ``food:0`` is yes.

    Args:
        world: how the meals of a day belong together.
        days: how many days.
        seed: of everything drawn.
        shift: 0 where nothing is true.
    """
    rng = np.random.default_rng(seed)
    day = np.repeat(np.arange(days), rng.integers(3, 6, days))
    units = day.size
    place = np.concatenate([np.arange((day == one).sum()) for one in range(days)])
    kind = np.array(MEALS)[np.minimum(place, 3)]
    constant = np.column_stack([_habit(rng, days)[day] for _ in range(BY_DAY)])
    varying = np.column_stack([rng.random(units) < rng.uniform(0.15, 0.5) for _ in range(BY_MEAL)])
    names = [f"tag:{k}" for k in range(BY_DAY)] + [f"food:{k}" for k in range(BY_MEAL)]
    factors = pd.DataFrame(np.column_stack([constant, varying]).astype(float), columns=names)
    level = _ar1(rng, days, world.phi)
    common = np.sqrt(SHARED) * rng.normal(size=units)
    columns = {}
    for name in OUTCOMES:
        own_day = np.sqrt(SHARED) * level + np.sqrt(1 - SHARED) * _ar1(rng, days, world.phi)
        own = common + np.sqrt(1 - SHARED) * rng.normal(size=units)
        effect = shift * varying[:, 0] + 0.5 * (kind == "dinner")
        columns[name] = 50 + 15 * (np.sqrt(world.ratio) * own_day[day] + own + effect)
    return _table(FIRST_DAY + day, place, kind, pd.DataFrame(columns), factors)


def claims(world: MealWorld, days: int, seed: int, draws: int, rules: RuleBook) -> tuple[bool, ...]:
    """Return whether anything is claimed: shipped, primary alone, rows shuffled."""
    table = diary(world, days, seed)
    ranked = rank_table(table, rules, run=Run(draws=draws, seed=seed))
    shipped = any(item.evidence is Evidence.CLEAR for item in ranked.hypotheses)
    plan = design(table, rules)
    found = search(plan, "rise", Run(draws, seed))
    alone = [t.p_adjusted for t in found.tests if t.target.name == "rise"]
    part = next(part for part in found.outcomes if part.target.name == "rise")
    rows = _rows(part.target, [part.rules[at].values for at in part.tested()])
    judged = judge([rows], shuffles(len(plan.times), draws, seed)).step_down
    level = rules.guardrails.claim_level
    return shipped, bool(np.nanmin(alone) <= level), bool(judged.min() <= level)


def power(world: MealWorld, days: int, seed: int, draws: int, rules: RuleBook) -> bool:
    """Return whether a true effect of 0.8 SD of a meal is clear."""
    ranked = rank_table(diary(world, days, seed, 0.8), rules, run=Run(draws=draws, seed=seed))
    return any(
        item.evidence is Evidence.CLEAR and item.factors == ("food:0",)
        for item in ranked.hypotheses
    )


def _ar1(rng: np.random.Generator, days: int, phi: float) -> np.ndarray:
    out = rng.normal(size=days)
    for k in range(1, days):
        out[k] = phi * out[k - 1] + np.sqrt(1 - phi**2) * out[k]
    return out


def _habit(rng: np.random.Generator, days: int) -> np.ndarray:
    latent = _ar1(rng, days, HABIT_PHI)
    return latent > np.quantile(latent, 1 - rng.uniform(0.25, 0.5))


def _rows(target, rules) -> Block:  # type: ignore[no-untyped-def]
    """The rows shuffled freely: no days, no nuisance but the mean and which meal is left in."""
    outcome = target.values - target.values.mean()
    columns = np.column_stack(rules)
    basis = orthonormal(np.ones((len(outcome), 1)))
    return Block(columns - columns.mean(axis=0), outcome, basis, np.arange(len(outcome)))


def _table(day, place, kind, outcomes, factors) -> UnitTable:  # type: ignore[no-untyped-def]
    dates = [str(np.datetime64(int(number), "D")) for number in day]
    index = pd.Index([f"{date}T{8 + 3 * k:02d}:00" for date, k in zip(dates, place, strict=True)])
    head = pd.DataFrame(
        {"date": dates, "day_number": day, "rest_day": np.isin((day + 3) % 7, (5, 6)),
         "usable": True, "left_out": "", "sensor": [str((d - FIRST_DAY) // 14) for d in day],
         "coverage": 1.0, "meal": kind, "carbs_g": np.nan}
    )  # fmt: skip
    frame = pd.concat([head, outcomes, factors], axis=1).set_index(index)
    names, columns = tuple(outcomes.columns), tuple(factors.columns)
    return UnitTable(
        "meal", frame, names, columns, frame[list(columns)], frame[list(names)].copy(), {}, {},
        frame[[]],
    )  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--diaries", type=int, default=200)
    parser.add_argument("--draws", type=int, default=499)
    parser.add_argument("--workers", type=int, default=2)
    chosen = parser.parse_args()
    rules = rulebook.load()
    pool = Parallel(n_jobs=chosen.workers)
    lines = [
        f"{chosen.diaries} diaries a cell, {chosen.draws} draws, nominal 5 %. "
        "`python -m benchmarks.calibration.meal_worlds`",
        "",
        "| day variance / meal variance, phi | days | one outcome, rows shuffled "
        "| primary half (2.5 %) | shipped | a true 0.8 SD found |",
        "|---|---|---|---|---|---|",
    ]
    for world in WORLDS:
        for days in (28, 60):
            seeds = [seed * 7919 + 17 for seed in range(chosen.diaries)]
            job, seek = delayed(claims), delayed(power)
            rows = pool(job(world, days, seed, chosen.draws, rules) for seed in seeds)
            few = seeds[: max(1, chosen.diaries // 4)]
            hits = pool(seek(world, days, seed, chosen.draws, rules) for seed in few)
            shipped, alone, free = (100 * np.mean([row[k] for row in rows]) for k in range(3))
            lines.append(
                f"| {world.ratio:g}, {world.phi:g} | {days} | {free:.1f} | {alone:.1f} "
                f"| {shipped:.1f} | {100 * np.mean(hits):.0f} |"
            )
            print(lines[-1], flush=True)
    home = Path(__file__).parent / "results"
    home.mkdir(exist_ok=True)
    (home / "meal_worlds.md").write_text("\n".join([*lines, ""]), encoding="utf-8")


if __name__ == "__main__":
    main()
