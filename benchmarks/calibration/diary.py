"""One invented month through the shipped analysis: what was claimed, found, covered."""

from __future__ import annotations

from dataclasses import replace
from math import isnan

import numpy as np

from benchmarks.calibration.rivals import rivals
from benchmarks.calibration.worlds import Month, World, month
from miner.hypotheses.design import design
from miner.hypotheses.fixed import Question, answer
from miner.hypotheses.guard import judge_all
from miner.hypotheses.rank import default_primary
from miner.hypotheses.search import Search, search
from miner.hypotheses.whitened import Spectra
from miner.results import Evidence
from miner.rulebook import RuleBook
from miner.stats.effects import single
from miner.stats.maxt import shuffles
from miner.stats.shrinkage import expected

Row = dict[str, float]
ALONE = (("late_dinner", "minutes_above"),)
THREE = (
    ("late_dinner", "minutes_above"),
    ("short_sleep", "wake_glucose"),
    ("much_stress", "day_mean"),
)


def nothing_true(
    world: World,
    rules: RuleBook,
    days: int,
    factors: int,
    seed: int,
    draws: int,
    cache: Spectra,
    *,
    beside: bool,
) -> Row:
    """Return what each method claims where nothing is true; the usual ones only if ``beside``."""
    drawn = month(world, rules, days=days, factors=factors, seed=seed)
    plan = design(drawn.table, rules)
    found = _search(plan, rules, seed, draws, cache)
    judged = judge_all(found.outcomes, found.tests, rules.guardrails)
    row = {"search": float(any(item.evidence is Evidence.CLEAR for item in judged))}
    if beside:
        orders = shuffles(days, draws, seed)
        row |= {name: float(hit) for name, hit in rivals(found, orders).items()}
    for name, pairs in (("one fixed", ALONE), ("three fixed", THREE)):
        row[name] = float(any(hit for hit in _fixed(plan, drawn, rules, pairs)))
    covered = _covers(found, drawn)
    if covered is not None:
        row["top interval covers"] = float(covered)
    return row


def one_true(
    world: World,
    rules: RuleBook,
    days: int,
    factors: int,
    seed: int,
    draws: int,
    shift: float,
    cache: Spectra,
) -> Row:
    """Return what is found where late dinners truly move the time above the range."""
    drawn = month(world, rules, days=days, factors=factors, seed=seed, shift=shift)
    plan = design(drawn.table, rules)
    found = _search(plan, rules, seed, draws, cache)
    row = _found(found, rules, "shipped family")
    covered = _covers(found, drawn)
    if covered is not None:
        row["top interval covers"] = float(covered)
    one = replace(plan, targets=tuple(t for t in plan.targets if t.name == "minutes_above"))
    row |= _found(_search(one, rules, seed, draws, cache), rules, "one outcome")
    for name, pairs in (("one fixed", ALONE), ("three fixed", THREE)):
        row[name] = float(_fixed(plan, drawn, rules, pairs)[0])
    return row


def spread_truths(
    world: World, rules: RuleBook, days: int, factors: int, seed: int, draws: int, cache: Spectra
) -> Row:
    """Return expected and true size of the claims where effects spread as the rule book says."""
    effects: dict[tuple[str, str], float] = {}

    def draw(rng: np.random.Generator) -> dict[tuple[str, str], float]:
        names = [name for name in rules.factors_of("day") if ":" not in name][:factors]
        for outcome, rule in rules.outcomes_of("day").items():
            for name in names:
                effects[name, outcome] = float(rng.normal(0, rule.plausible_spread))
        return effects

    drawn = month(world, rules, days=days, factors=factors, seed=seed, spreads=draw)
    found = _search(design(drawn.table, rules), rules, seed, draws, cache)
    row = {"expected": 0.0, "true": 0.0, "claims": 0.0, "raw": 0.0}
    for item in judge_all(found.outcomes, found.tests, rules.guardrails):
        test = item.test
        if item.evidence is not Evidence.CLEAR or len(test.rule.items) > 1:
            continue
        factor = test.target.items[test.rule.items[0]].factor
        spread = test.target.rule.plausible_spread
        sign = np.sign(test.difference)
        row["expected"] += (
            sign * expected(test.difference, test.standard_error, spread, test.df).difference
        )
        row["true"] += sign * effects.get((factor, test.target.name), 0.0)
        row["raw"] += sign * test.difference
        row["claims"] += 1
    return row


def _search(plan, rules, seed, draws, cache) -> Search:  # type: ignore[no-untyped-def]
    return search(
        plan, default_primary(plan) if len(plan.targets) > 1 else plan.targets[0].name,
        rules.guardrails, draws=draws, seed=seed, spectra=cache,
    )  # fmt: skip


def _found(found: Search, rules: RuleBook, name: str) -> Row:
    judged = judge_all(found.outcomes, found.tests, rules.guardrails)
    clear = [item.test for item in judged if item.evidence is Evidence.CLEAR]
    mine = [test for test in clear if test.target.name == "minutes_above"]
    named = [tuple(test.target.items[at].factor for at in test.rule.items) for test in mine]
    return {
        f"{name}: found": float(("late_dinner",) in named),
        f"{name}: superset": float(any("late_dinner" in n and len(n) > 1 for n in named)),
        f"{name}: unrelated": float(
            any("late_dinner" not in n for n in named) or len(mine) < len(clear)
        ),
    }


def _fixed(plan, drawn: Month, rules: RuleBook, pairs) -> list[bool]:  # type: ignore[no-untyped-def]
    dates = drawn.table.frame["date"].tolist()
    asked = [Question(factor, outcome) for factor, outcome in pairs]
    answers = answer(plan, dates, asked, rules.guardrails)
    level = rules.guardrails.claim_level
    return [bool(item.test.p_adjusted <= level) for _, item in answers]


def _covers(found: Search, drawn: Month) -> bool | None:
    """Say whether the interval of the best rule covers the truth projected on that rule."""
    tested = [test for test in found.tests if not isnan(test.p)]
    if not tested:
        return None
    best = min(tested, key=lambda test: (test.p_adjusted, test.p))
    white = found.outcome(best.target.name).white
    if white is None:
        return None
    truth = white.outcome(np.nan_to_num(drawn.truth[best.target.name]))
    own = float(single(best.column[:, None], truth, white.rank).difference[0])
    low, high = best.interval
    return low <= own <= high
