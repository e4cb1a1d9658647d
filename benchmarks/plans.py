"""What alternating tests find and how often they err, beside what a plan promises.

Power by pairs: two periods of a pair each scatter by one SD, the change moves them by 1, 1.5 or 2
SD; found by the randomisation test of every order, in the effect's own direction. Beside it the
figures of the trials the method rests on.

Planned tests: for days that scatter by 40, independent or dependent, a test is planned as `miner
plan` does (the fewest pairs with 80 % power at the difference worth having, days left out where the
change carries over, in which case the day after a period of the change still holds its effect),
its days are drawn, its coins thrown, and it is read as `miner result` does. "Errs" is the share in
which a change that does nothing is called changed; "holds" the share of intervals that hold the
true difference.

    python -m benchmarks.plans --runs 2000 --seed 0
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from miner.followup import planning
from miner.stats.power import SignFlips, pairs_power, sign_flips

RESULTS = Path(__file__).parent / "results" / "plans.md"
TRIALS = {6: (17, 45, 65), 10: (51, 83, 98)}
SIZES = (1.0, 1.5, 2.0)
START, DAY_SPREAD, LEVEL = date(2026, 7, 6), 40.0, 0.05


@dataclass(frozen=True)
class Case:
    """Days of one kind, and what is looked for in them."""

    name: str
    phi: float
    w: float
    worth: float
    carry_over: int


CASES = (
    Case("independent", 0.0, 0.0, 40.0, 0),
    Case("independent, carries over a day", 0.0, 0.0, 40.0, 1),
    Case("persistent (0.6)", 0.6, 1.0, 40.0, 0),
    Case("persistent (0.6), carries over a day", 0.6, 1.0, 40.0, 1),
    Case("persistent (0.8) with noise of its own", 0.8, 0.6, 40.0, 0),
    Case("independent, a large difference", 0.0, 0.0, 70.0, 0),
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


def read(case: Case, size: planning.Size, effect: float, rng: np.random.Generator) -> SignFlips:
    """Lay out one test, draw its days and read it."""
    seed = int(rng.integers(2**32))
    periods, _ = planning.lay_out(size, START, 0, seed, (), sensor_days=10_000)
    first = START.toordinal()
    spans = [
        (p, date.fromisoformat(p.first).toordinal() - first,
         date.fromisoformat(p.last).toordinal() - first + 1) for p in periods
    ]  # fmt: skip
    moved = np.zeros(spans[-1][2] + 1, dtype=bool)
    for period, begin, end in spans:
        if period.arm == "change":
            moved[begin : end + case.carry_over] = True
    values = days_of(case, len(moved), rng) + effect * moved
    means = {
        (p.pair, p.arm): values[begin + p.leave_out_days : end].mean() for p, begin, end in spans
    }
    pairs = {pair for pair, _ in means}
    return sign_flips([means[k, "change"] - means[k, "usual"] for k in sorted(pairs)])


def planned(case: Case, runs: int, rng: np.random.Generator) -> str:
    """Return a line of the table of planned tests."""
    scatter = planning.Scatter(DAY_SPREAD, case.phi, case.w)
    size = planning.size(scatter, case.worth, case.carry_over)
    assert size is not None
    tests = {
        effect: [read(case, size, effect, rng) for _ in range(runs)]
        for effect in (-case.worth, 0.0)
    }
    true = tests[-case.worth]
    promised = pairs_power(case.worth, size.spread, size.pairs)
    power = np.mean([test.p <= LEVEL and test.mean < 0 for test in true])
    errs = np.mean([test.p <= LEVEL for test in tests[0.0]])
    holds = np.mean([
        test.interval is not None and test.interval[0] <= effect <= test.interval[1]
        for effect, some in tests.items() for test in some
    ])  # fmt: skip
    spread = np.std([test.mean for test in tests[0.0]]) * np.sqrt(size.pairs)
    return (
        f"| {case.name} | {case.worth:g} | {size.pairs} x 2 x {size.period_days} | "
        f"{size.spread:.1f} ({spread:.1f}) | {100 * promised:.0f} | {100 * power:.1f} | "
        f"{100 * errs:.1f} | {100 * holds:.1f} |"
    )


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
        "", "Planned for the difference worth having, drawn and read. Scatter of a pair: planned,",
        "and in brackets drawn.", "",
        "| days | worth having | pairs x 2 x days | scatter | promised power | found | errs |"
        " holds |",
        "|---|---|---|---|---|---|---|---|",
    ]  # fmt: skip
    for case in CASES:
        lines.append(planned(case, chosen.runs, rng))
        print(lines[-1], flush=True)
    RESULTS.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
