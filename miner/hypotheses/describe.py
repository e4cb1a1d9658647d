"""From a judged rule to the result that is printed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isnan

import numpy as np
from numpy.typing import NDArray

from miner.core.results import Evidence, Hypothesis, OutcomeSummary, Per, Shape, Withheld
from miner.hypotheses.candidates import too_few_known, unrankable
from miner.hypotheses.design import Design, Item, combine
from miner.hypotheses.doubts import interval
from miner.hypotheses.fixed import Question
from miner.hypotheses.guard import Judged, correlation, ordinary_interval
from miner.hypotheses.identity import identity
from miner.hypotheses.missing import missing_more_often
from miner.hypotheses.promises import days_to_settle, detectable, foreseen
from miner.hypotheses.tested import OutcomeSearch, Tested
from miner.rulebook import FactorRule, Guardrails, RuleBook
from miner.stats.effects import either, r_of_t, t_quantile
from miner.stats.power import AtHand
from miner.tables.unit_table import UnitTable


def describe(
    table: UnitTable,
    plan: Design,
    judged: Judged,
    family: str,
    rules: RuleBook,
    spreads: Mapping[tuple[str, str], float],
    hand: AtHand | None,
    question: Question | None = None,
) -> Hypothesis:
    """Return one hypothesis with its numbers, not yet ranked and not yet in words."""
    test, target = judged.test, judged.test.target
    items = [target.items[at] for at in test.rule.items]
    factors = tuple(item.factor for item in items)
    measured = not isnan(test.difference)
    foretold, small = foreseen(judged, rules.guardrails, spreads.get((factors[0], target.name)))
    notes = judged.notes
    relation = "precedes" if all(item.relation == "precedes" for item in items) else "same_day"
    if judged.evidence in (Evidence.CLEAR, Evidence.HINT):
        notes += missing_more_often(table, items, target.name, _asked(table, plan, question))
    return Hypothesis(
        id=identity(items, target.name, target.rule),
        rank=0,
        family=family,
        factors=factors,
        lag_days=tuple(item.lag for item in items),
        outcome=target.name,
        relation=relation,
        counts=test.rule.counts,
        difference=test.difference if measured else None,
        unit=target.rule.measure_unit,
        interval=interval(test, judged.doubts, rules.guardrails) if measured else None,
        p=test.p if measured else None,
        p_adjusted=test.p_adjusted if measured else None,
        evidence=judged.evidence,
        withheld=judged.withheld,
        expected_on_new_days=foretold,
        small=small,
        travels_with=judged.travels_with,
        could_run_backwards=relation == "same_day"
        or any(item.rule.could_run_backwards for item in items),
        days_to_settle=days_to_settle(plan, judged, hand, rules.guardrails),
        t_at_worth=None if hand is None else hand.t,
        doubts=judged.doubts,
        notes=notes,
        ordinary_interval=ordinary_interval(test, 0.90) if measured else None,
        standard_error=test.standard_error if measured else None,
        degrees_of_freedom=test.df if measured else None,
        fixed_on=question.fixed_on if question else None,
        fixed_before=None if question is None else question.doubt is None,
        fixed_proven=question.proven if question and question.fixed_on else None,
        guess=question.guess if question else None,
        unlikely_beyond=max(map(abs, ordinary_interval(test, 0.90))) if measured else None,
        means=_means(items, test),
        shape=test.rule.shape,
        per=_per(items[0].rule, test) if test.rule.shape is Shape.DOSE else None,
    )


def _means(items: Sequence[Item], test: Tested) -> tuple[float, float] | None:
    values = combine([item.values for item in items])
    outcome = test.target.values
    with_, without = (outcome[test.target.known & (values == side)] for side in (1, 0))
    if not len(with_) or not len(without):
        return None
    return float(with_.mean()), float(without.mean())


def _per(rule: FactorRule, test: Tested) -> Per:
    towards = "less" if rule.towards_less else "more"
    return Per(rule.per or 1.0, rule.measure_unit, towards, test.span)


def order_key(judged: Judged) -> tuple[float, float, int, float, tuple[str, ...], str]:
    """Order by adjusted p, the interval's nearer bound, the shorter rule, then p and names."""
    test = judged.test
    names = tuple(test.target.items[at].factor for at in test.rule.items)
    if isnan(test.p_adjusted):
        return (2.0, 0.0, len(names), 2.0, names, test.target.name)
    withheld = 1.5 if judged.withheld is not None else 0.0
    return (
        max(test.p_adjusted, withheld), -test.margin, len(names), test.p, names, test.target.name,
    )  # fmt: skip


def _asked(table: UnitTable, plan: Design, question: Question | None) -> NDArray[np.bool_]:
    asked = table.frame.index.astype(str).isin(list(plan.asked))
    if question is not None and question.fixed_on is not None and question.doubt is None:
        asked &= table.frame["date"].to_numpy(dtype=str) > question.fixed_on
    return np.asarray(asked)


def outcome_summary(
    part: OutcomeSearch, tests: Sequence[Tested], guard: Guardrails
) -> OutcomeSummary:
    """Return an outcome's ordinary wobble and what this record could detect in it, or why not."""
    rule = part.target.rule
    singles = [
        test
        for test in tests
        if test.target.name == part.target.name
        and len(test.rule.items) == 1
        and not isnan(test.standard_error)
    ]
    return OutcomeSummary(
        name=part.target.name,
        unit=rule.measure_unit,
        smallest_worth_it=rule.smallest_worth_it,
        detectable=detectable(singles, guard),
        ordinary_wobble=part.white.wobble if part.white is not None else None,
        units=int(part.target.known.sum()),
        withheld=_withheld(part, guard),
    )


def _withheld(part: OutcomeSearch, guard: Guardrails) -> Withheld | None:
    closed = unrankable(part.target, guard)
    if closed is None and part.white is None:
        return Withheld(too_few_known(part.target.rule.unit))
    return closed


def hints_by_chance(tests: Sequence[Tested], guard: Guardrails) -> float:
    """Return how many single-factor rules would pass as hints if nothing were true.

    The expectation of a count needs no independence: it is the sum of each rule's own chance of a
    t beyond the hint level and beyond the smallest difference worth it; of a cut and a dose of one
    habit, that either is.
    """
    habits: dict[tuple[str, tuple[int, ...]], list[Tested]] = {}
    for test in tests:
        if len(test.rule.items) == 1 and not isnan(test.p) and test.standard_error > 0:
            habits.setdefault((test.target.name, test.rule.items), []).append(test)
    return sum(_hint_by_chance(shapes, guard.hint_level) for shapes in habits.values())


def clear_by_chance(
    searched: Sequence[Judged],
    fixed: Sequence[tuple[Question, Judged]],
    level: float,
    share: float,
) -> float:
    """Return how often, at most, anything is called clear where nothing is true.

    The search and the fixed questions are two families, each with a level of its own. The chance
    that either errs is at most the sum of both, however they depend on each other.
    Source: Boole's inequality, as in Bonferroni 1936.

    Args:
        searched: rules of the search that may be called clear.
        fixed: fixed questions with their answers; one with a doubt is never clear.
        level: the claim level.
        share: part of it that these fixed questions have.
    """
    search = any(not isnan(item.test.p_adjusted) for item in searched)
    asked = any(
        question.doubt is None and not isnan(item.test.p_adjusted) for question, item in fixed
    )
    return level * (search + share * asked)


def _hint_by_chance(shapes: Sequence[Tested], level: float) -> float:
    df = shapes[0].df
    along = correlation(*shapes) if len(shapes) > 1 else 1.0
    least = _limit_of_either(along, df, level)
    limits = []
    for test in shapes:
        worth = test.target.rule.smallest_worth_it / test.span / test.standard_error
        limits.append(max(r_of_t(worth, df), least))
    return either(limits[0], limits[-1], along, df)


def _limit_of_either(along: float, df: int, level: float) -> float:
    """Return the size of a correlation that one of two shapes of a habit reaches with a chance.

    It lies between that of one shape alone and that of two that know nothing of each other.
    """
    low, high = (r_of_t(t_quantile(1 - part / 2, df), df) for part in (level, level / 2))
    for _ in range(8 if along < 1 else 0):
        middle = (low + high) / 2
        above = either(middle, middle, along, df) > level
        low, high = (middle, high) if above else (low, middle)
    return low
