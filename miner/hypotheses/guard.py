"""The guard: what a tested rule may be called."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from miner.hypotheses.doubts import doubts
from miner.hypotheses.overlaps import Companions, companions, overlap
from miner.hypotheses.tested import OutcomeSearch, Tested
from miner.results import Doubt, Evidence, Withheld
from miner.rulebook import Guardrails
from miner.stats import effects


@dataclass(frozen=True, slots=True)
class Judged:
    """A tested rule with its level, and why it is not a higher one."""

    test: Tested
    evidence: Evidence
    withheld: Withheld | None
    notes: tuple[str, ...]
    travels_with: tuple[str, ...]
    doubts: tuple[Doubt, ...] = ()


def judge_all(
    parts: Sequence[OutcomeSearch], tests: Sequence[Tested], guard: Guardrails
) -> list[Judged]:
    """Return every single-factor rule with its level, and the sets that may be claimed.

    A set is kept only if it passes the claim level and still adds something beside each of its
    parts (method step 8).
    """
    by_name = {part.target.name: part for part in parts}
    beside = {name: companions(part) for name, part in by_name.items()}
    passing = [test for test in tests if test.p_adjusted <= guard.claim_level]
    out = []
    for test in tests:
        part, along = by_name[test.target.name], beside[test.target.name]
        if len(test.rule.items) == 1:
            out.append(judge_one(part, along, test, guard, guard.hint_level_searched))
        elif test.p_adjusted <= guard.claim_level and adds_something(
            part, test, guard.claim_level / len(passing)
        ):
            judged = judge_one(part, along, test, guard, guard.hint_level_searched)
            if judged.evidence in (Evidence.CLEAR, Evidence.HINT):
                out.append(judged)
    return out


def judge_one(
    part: OutcomeSearch, along: Companions, test: Tested, guard: Guardrails, level: float
) -> Judged:
    """Return the first level of the contract's order that fits one rule; as ``doubts``."""
    if test.rule.withheld is not None:
        return Judged(test, Evidence.CANNOT_TELL, test.rule.withheld, (), ())
    came = overlap(part, along, test, guard)
    told_along = (came.note,) if came.note else ()
    told = Judged(test, Evidence.CANNOT_TELL, came.withheld, told_along, came.travels_with)
    if came.withheld is not None:
        return told
    if test.p_adjusted <= guard.claim_level:
        found = doubts(part, test, guard, level)
        return replace(told, evidence=Evidence.HINT if found else Evidence.CLEAR, doubts=found)
    worth = test.target.rule.smallest_worth_it
    low, high = ordinary_interval(test, 0.90)
    if -worth < low and high < worth:
        return replace(told, evidence=Evidence.LITTLE_SIGN)
    if test.p <= guard.hint_level and abs(test.difference) >= worth:
        return replace(told, evidence=Evidence.HINT)
    return told


def ordinary_interval(test: Tested, level: float) -> tuple[float, float]:
    """Return the interval of one rule as if it had been the only one looked at."""
    reach = effects.t_quantile(0.5 + level / 2, test.df) * test.standard_error
    return test.difference - reach, test.difference + reach


def adds_something(part: OutcomeSearch, test: Tested, level: float) -> bool:
    """Say whether a set still shows something beside each of the smaller rules it contains."""
    white = test.white
    if white is None:
        return False
    own = set(test.rule.items)
    smaller = [
        at for at, rule in enumerate(part.rules) if set(rule.items) < own and rule.withheld is None
    ]
    beside = effects.beside(
        test.column, white.cleared(part.columns[:, smaller]), white.scores, white.rank
    )
    return bool(np.all(effects.two_sided(beside.t, beside.df) <= level))
