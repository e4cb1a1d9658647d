"""What a record could have shown: is the size that is named found 80 times in 100?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from benchmarks.calibration.worlds import Month, World, month
from miner.core.results import Evidence
from miner.hypotheses.describe import outcome_summary
from miner.hypotheses.design import Design, Run, design
from miner.hypotheses.guard import interval, judge_all
from miner.hypotheses.search import Search, search
from miner.hypotheses.tested import Spectra
from miner.rulebook import RuleBook
from miner.stats.effects import single

HABITS, DRAWS, PAIRS = 15, 499, 3

Pair = tuple[str, str]


def searched(plan: Design, seed: int, cache: Spectra) -> Search:
    """Run the shipped search with fewer draws."""
    return search(plan, plan.default_primary, Run(DRAWS, seed, spectra=cache))


def clear(found: Search) -> set[Pair]:
    """Return the single habits that are called clear, each with its outcome."""
    return {
        (item.test.target.items[item.test.rule.items[0]].factor, item.test.target.name)
        for item in judge_all(found.tests)
        if item.evidence is Evidence.CLEAR and len(item.test.rule.items) == 1
    }


def covers(
    found: Search, truth: dict[str, np.ndarray], rules: RuleBook
) -> tuple[bool, bool] | None:
    """Say whether the intervals hold what is true: that of the best rule, and all of them.

    What is true of a rule is the outcome without its scatter, projected on the rule as the outcome
    itself is. An interval that is withheld says nothing false.
    """
    guard = rules.guardrails
    passing = [test for test in found.tests if test.p_adjusted <= guard.claim_level]
    doubted = {
        (item.test.target.name, item.test.rule.items): item.doubts
        for item in (judge_all(passing) if passing else [])
    }
    tested = [test for test in found.tests if test.white is not None]
    if not tested:
        return None
    held = {}
    for test in tested:
        white = test.white
        true = white.outcome(np.nan_to_num(truth[test.target.name]))
        own = float(single(test.amounts[:, None], true, white.rank).difference[0])
        shown = interval(test, doubted.get((test.target.name, test.rule.items), ()))
        held[id(test)] = shown is None or shown[0] <= own <= shown[1]
    best = min(tested, key=lambda test: (test.p_adjusted, test.p))
    return held[id(best)], all(held.values())


def new_scatter(own: Month, other: Month) -> Month:
    """Return the habits of one month with the outcomes of another of the same world."""
    none = {name: np.zeros_like(values) for name, values in other.outcomes.items()}
    return replace(own, outcomes=other.outcomes, truth=none)


def planted(drawn: Month, plan: Design, pair: Pair, size: float) -> Month:
    """Return the month with a true difference of one habit in one outcome."""
    factor, outcome = pair
    item = next(item for item in plan.target(outcome).items if item.factor == factor)
    moved = size * np.nan_to_num(item.values)
    outcomes = drawn.outcomes | {outcome: drawn.outcomes[outcome] + moved}
    return replace(drawn, outcomes=outcomes, truth=drawn.truth | {outcome: moved})


def reach(
    world: World, rules: RuleBook, days: int, diaries: int, first_seed: int
) -> dict[str, float]:
    """Return how often the size named in one month is found in another month like it.

    Three pairs a month, drawn from those that can be tested; also how often intervals cover.
    """
    row = dict.fromkeys(("planted", "found", "months", "covered best", "covered all"), 0.0)
    cache: Spectra = {}
    for at in range(diaries):
        if len(cache) > 50:
            cache.clear()
        seed = first_seed + 13 * at
        rng = np.random.default_rng(seed)
        own, other = (
            month(world, rules, days=days, factors=HABITS, seed=number)
            for number in (seed, seed + 10**6)
        )
        found = searched(design(own.table, rules), seed, cache)
        named = {
            part.target.name: outcome_summary(part, found.tests).detectable
            for part in found.outcomes
        }
        pairs = [
            (test.target.items[test.rule.items[0]].factor, test.target.name)
            for test in found.tests
            if test.white is not None and len(test.rule.items) == 1 and named[test.target.name]
        ]
        fresh = new_scatter(own, other)
        plan = design(fresh.table, rules)
        for which in rng.choice(len(pairs), min(PAIRS, len(pairs)), replace=False):
            pair = pairs[which]
            drawn = planted(fresh, plan, pair, float(named[pair[1]] or 0.0))
            seen = searched(design(drawn.table, rules), seed + 1, cache)
            row["planted"] += 1
            row["found"] += pair in clear(seen)
            held = covers(seen, drawn.truth, rules)
            if held is not None:
                row["months"] += 1
                row["covered best"] += held[0]
                row["covered all"] += held[1]
    return row
