"""The guard: what a tested rule may be called."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from miner.core.messages import Message
from miner.core.results import Doubt, Evidence, Withheld
from miner.hypotheses.doubts import Levels, doubts
from miner.hypotheses.overlaps import Companions, companions, overlap
from miner.hypotheses.tested import OutcomeSearch, Tested
from miner.rulebook import Guardrails
from miner.stats import effects
from miner.stats.effects import either, r_of_t


@dataclass(frozen=True, slots=True)
class Judged:
    """A tested rule with its level, and why it is not a higher one."""

    test: Tested
    evidence: Evidence
    withheld: Withheld | None
    notes: tuple[Message, ...]
    travels_with: tuple[str, ...]
    doubts: tuple[Doubt, ...] = ()


def judge_all(
    parts: Sequence[OutcomeSearch],
    tests: Sequence[Tested],
    guard: Guardrails,
    shapes: Mapping[tuple[str, str], str] | None = None,
) -> list[Judged]:
    """Return every single-factor rule with its level, and the sets that may be claimed.

    A set is kept only if it passes the claim level and still adds something beside each of its
    parts (method step 8).

    Args:
        parts: the outcomes.
        tests: of all their rules.
        guard: the guardrails.
        shapes: (factor, outcome) -> the one shape that was asked for; else the stronger speaks.
    """
    by_name = {part.target.name: part for part in parts}
    beside = {name: companions(part) for name, part in by_name.items()}
    passing = [test for test in tests if test.p_adjusted <= guard.claim_level]
    levels = Levels(guard.hint_level, guard.weekday_level_searched)
    out = []
    for test in better_shapes(tests, shapes or {}, guard.claim_level):
        part, along = by_name[test.target.name], beside[test.target.name]
        if len(test.rule.items) == 1:
            out.append(judge_one(part, along, test, guard, levels))
        elif test.p_adjusted <= guard.claim_level and adds_something(
            part, test, guard.claim_level / len(passing)
        ):
            judged = judge_one(part, along, test, guard, levels)
            if judged.evidence in (Evidence.CLEAR, Evidence.HINT):
                out.append(judged)
    return out


def better_shapes(
    tests: Sequence[Tested], shapes: Mapping[tuple[str, str], str], level: float
) -> list[Tested]:
    """Return one test a rule: of a habit compared as a cut and as a dose the stronger speaks.

    Its p alone is then that of the better of two; each has been adjusted in its family already.
    """
    found: dict[tuple[str, tuple[int, ...]], list[Tested]] = {}
    for test in tests:
        found.setdefault((test.target.name, test.rule.items), []).append(test)
    out = []
    for (outcome, items), own in found.items():
        wanted = (
            shapes.get((own[0].target.items[items[0]].factor, outcome)) if len(items) == 1 else None
        )
        named = [test for test in own if test.rule.shape == wanted]
        out.append(better(named or own, level))
    return out


def better(shapes: Sequence[Tested], level: float) -> Tested:
    """Return the shape of one habit that speaks, with the p of the stronger of them.

    One that passes the level and whose size holds goes before one whose order alone passes; then
    the stronger. Both are adjusted in one family: whichever speaks, it has paid for both.
    """
    tested = [test for test in shapes if test.rule.withheld is None]
    if len(tested) < 2:
        return (tested or list(shapes))[0]
    best = min(tested, key=lambda test: (not (test.p_adjusted <= level and test.holds), test.p))
    limit = max(r_of_t(test.score_t, test.df) for test in tested)
    return replace(best, p=either(limit, limit, correlation(*tested), best.df))


def correlation(one: Tested, other: Tested) -> float:
    """Return the correlation of two rules of one outcome, beside the same nuisance."""
    size = np.linalg.norm(one.column) * np.linalg.norm(other.column)
    return float(one.column @ other.column / size)


def judge_one(
    part: OutcomeSearch, along: Companions, test: Tested, guard: Guardrails, levels: Levels
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
        found = doubts(part, test, guard, levels)
        return replace(told, evidence=Evidence.HINT if found else Evidence.CLEAR, doubts=found)
    worth = test.target.rule.smallest_worth_it / test.span
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
