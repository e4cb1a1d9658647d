"""What alternating tests find and how often they err, beside what a plan promises.

Power by pairs: two periods of a pair each scatter by one SD, the change moves them by 1, 1.5 or 2
SD; found by the randomisation test of every order, in the effect's own direction. Beside it the
figures of the trials the method rests on.

Tests of a client's own habit: a day with the habit differs by 1 or 2 SD of the other days; the
habit comes on 5 to 90 % of usual days, and on none (or, where the change brings it about, on all)
under the change. One day in ten is not known. A test of each length is laid out as `miner plan`
does, its coins thrown, its days drawn, and it is read as `miner result` does. "Errs" is the share
in which a change that does nothing is called changed; "holds" the share of intervals that hold the
true difference of the arms; "off" how far the promise lies from what was found, in points. Of more
than 16 pairs 10 000 orders are drawn, a tenth of what `miner result` draws.

    python -m benchmarks.plans --runs 2000 --seed 0
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from datetime import date
from itertools import product
from math import sqrt
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from miner.followup import lengths, planning, sizes
from miner.ledger import FrozenIdea
from miner.rulebook import load
from miner.stats.power import SignFlips, pairs_power, sign_flips

RESULTS = Path(__file__).parent / "results" / "plans.md"
TRIALS = {6: (17, 45, 65), 10: (51, 83, 98)}
SIZES = (1.0, 1.5, 2.0)
START, DAY_SPREAD, LEVEL = date(2026, 7, 6), 10.0, 0.05
SHARES = (0.05, 0.25, 0.5, 0.75, 0.9)
KNOWN = 0.9
DRAWS = 10_000


@dataclass(frozen=True)
class Case:
    """Days of one kind, the habit that is tested in them, and how much it moves."""

    name: str
    phi: float
    w: float
    habit: str
    difference: float


CASES = (
    Case("independent, nothing carries over", 0.0, 0.0, "late_dinner", 2.0),
    Case("independent, carries over a day", 0.0, 0.0, "short_sleep", 2.0),
    Case("persistent (0.6), nothing carries over", 0.6, 1.0, "late_dinner", 1.0),
    Case("persistent (0.6), carries over a day", 0.6, 1.0, "short_sleep", 1.0),
    Case("persistent (0.8) with noise of its own", 0.8, 0.6, "walk_after_dinner", 1.0),
)


def found_by_pairs(pairs: int, effect: float, runs: int, rng: np.random.Generator) -> float:
    """Return how often pairs with that effect are found by looking at every order."""
    drawn = rng.normal(effect, np.sqrt(2), (runs, pairs))
    tests = [sign_flips(values) for values in drawn]
    return float(np.mean([test.p <= LEVEL and test.mean > 0 for test in tests]))


def days_of(case: Case, count: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return the outcome of so many days without any change."""
    steps = rng.normal(size=count) * np.sqrt(1 - case.phi**2)
    level = np.empty(count)
    level[0] = rng.normal()
    for at in range(1, count):
        level[at] = case.phi * level[at - 1] + steps[at]
    own = rng.normal(size=count)
    return DAY_SPREAD * (np.sqrt(case.w) * level + np.sqrt(1 - case.w) * own)


@dataclass(frozen=True)
class World:
    """A client: the days, how often the habit comes, what it adds to a day."""

    case: Case
    share: float
    effect: float
    helpful: str
    carry_over: int

    def days(self, planned: NDArray[np.bool_], rng: np.random.Generator) -> NDArray[np.float64]:
        """Return the outcome of each day, NaN where it is not known.

        Args:
            planned: whether the change is asked for on a day.
            rng: of the client.
        """
        habit = rng.random(len(planned)) < self.share
        habit = np.where(planned, self.helpful == "with", habit)
        values = days_of(self.case, len(planned), rng) + self.effect * habit
        return np.where(rng.random(len(planned)) < KNOWN, values, np.nan)


def read(world: World, length: lengths.Length, rng: np.random.Generator) -> SignFlips:
    """Lay out one test, draw its days and read it."""
    size = sizes.Size(length.period_days, world.carry_over, length.pairs, 1.0)
    seed = int(rng.integers(2**32))
    periods, _ = planning.lay_out(size, START, 0, seed, ())
    first = START.toordinal()
    spans = {
        (each.pair, each.arm): (
            date.fromisoformat(each.first).toordinal() - first,
            date.fromisoformat(each.last).toordinal() - first + 1,
        )
        for each in periods
    }
    planned = np.zeros(max(end for _, end in spans.values()), dtype=bool)
    for (_, arm), (begin, end) in spans.items():
        planned[begin:end] = arm == "change"
    values = world.days(planned, rng)
    with np.errstate(invalid="ignore"):
        means = {
            key: np.nanmean(each) if not np.isnan(each).all() else np.nan
            for key, (begin, end) in spans.items()
            if len(each := values[begin + world.carry_over : end])
        }
    pairs = range(1, length.pairs + 1)
    differences = [means[k, "change"] - means[k, "usual"] for k in pairs]
    return sign_flips(differences, draws=DRAWS)


def planned_tests(case: Case, share: float, runs: int, rng: np.random.Generator) -> list[str]:
    """Return the lines of a habit of one share: short, middle and long."""
    rule = load().factor(case.habit, "day")
    effect = case.difference * DAY_SPREAD
    usual = 200
    kept = FrozenIdea.read(
        {
            "id": "0",
            "factors": [case.habit],
            "lag_days": [0],
            "outcome": "wake_glucose",
            "unit_of": "day",
            "definitions": {},
            "direction": "up",
            "expected": effect,
            "smallest_worth_it": 5.0,
            "with": round(share * usual),
            "without": usual - round(share * usual),
        }
    )
    own = DAY_SPREAD**2 + effect**2 * share * (1 - share)
    scatter = sizes.Scatter(sqrt(own), case.phi, case.w * DAY_SPREAD**2 / own, known=KNOWN)
    offered = lengths.lengths_of(kept, rule, scatter, planning.Wish(START), sensor_changes=())
    sign = 1 if rule.helpful == "with" else -1
    true, nothing = (
        World(case, share, size, rule.helpful, rule.carry_over_days) for size in (effect, 0.0)
    )
    rows = []
    for length in offered.lengths:
        found = [read(true, length, rng) for _ in range(runs)]
        null = [read(nothing, length, rng) for _ in range(runs)]
        power = 100 * np.mean([test.p <= LEVEL and sign * test.mean > 0 for test in found])
        errs = 100 * np.mean([test.p <= LEVEL for test in null])
        contrast = sign * offered.contrast.size
        inside = [
            test.interval[0] <= contrast <= test.interval[1] for test in found if test.interval
        ]
        rows.append(
            f"| {case.name} | {100 * share:.0f} | {length.name}, {length.pairs} x 2 x "
            f"{length.period_days} | {offered.contrast.size:.1f} | {100 * length.power:.0f} | "
            f"{power:.1f} | {100 * length.power - power:+.1f} | {errs:.1f} | "
            f"{100 * np.mean(inside):.1f} |"
        )
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=0)
    chosen = parser.parse_args()
    rng = np.random.default_rng(chosen.seed)
    lines = [
        "# Alternating tests", "",
        f"`python -m benchmarks.plans --runs {chosen.runs} --seed {chosen.seed}`", "",
        "Power, of 100 tests, two-sided at 5 %. SD: of one period, so that the difference of a",
        "pair scatters by 1.41 of it.", "",
        "| pairs | effect, SD | trials of the method | as a plan promises | by running the test |",
        "|---|---|---|---|---|",
    ]  # fmt: skip
    for pairs, trials in TRIALS.items():
        for effect, trial in zip(SIZES, trials, strict=True):
            promised = 100 * pairs_power(effect, np.sqrt(2), pairs)
            run = 100 * found_by_pairs(pairs, effect, chosen.runs, rng)
            lines.append(f"| {pairs} | {effect:g} | {trial} | {promised:.0f} | {run:.1f} |")
            print(lines[-1], flush=True)
    lines += [
        "", "Tests of a habit by its share of usual days; days scatter by 10 without it.", "",
        "| days | share | length, pairs x 2 x days | contrast | promised | found | off | errs |"
        " holds |",
        "|---|---|---|---|---|---|---|---|---|",
    ]  # fmt: skip
    for case, share in product(CASES, SHARES):
        for row in planned_tests(case, share, chosen.runs, rng):
            lines.append(row)
            print(row, flush=True)
    RESULTS.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
