"""From a judged rule to its result: counts, intervals, what could have been seen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import ceil, isnan
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from miner.core.messages import Message, message
from miner.core.results import Evidence, Hypothesis, OutcomeSummary, Per, Shape, Withheld
from miner.hypotheses.candidates import unrankable
from miner.hypotheses.design import Design, Item, Question, identity, lagged
from miner.hypotheses.guard import Judged, correlation, interval, ordinary_interval
from miner.stats.dependence import whiten
from miner.stats.effects import either, expected, paired, r_of_t, t_quantile
from miner.stats.power import AtHand, new_units_for
from miner.stats.proportions import newcombe
from miner.stats.scores import combine, normal_scores

if TYPE_CHECKING:
    from miner.hypotheses.tested import OutcomeSearch, Tested, Whitened
    from miner.tables.unit_table import UnitTable


def missing_more_often(
    table: UnitTable, items: Iterable[Item], outcome: str, among: NDArray[np.bool_]
) -> tuple[Message, ...]:
    """Return a note when the 95 % interval of the two shares' difference leaves out 0.

    Args:
        table: every unit, used or not.
        items: the factors of the rule.
        outcome: an outcome's name.
        among: shape (units,), the units the question is about.
    """
    frame = table.frame
    values = combine([lagged(frame, item.factor, item.lag) for item in items])
    values = np.where(among, values, np.nan)
    absent = frame[outcome].isna().to_numpy() | ~frame["usable"].to_numpy(dtype=bool)
    with_, without = values == 1, values == 0
    if not with_.any() or not without.any():
        return ()
    x1, n1, x2, n2 = (
        int(chosen.sum()) for chosen in (absent & with_, with_, absent & without, without)
    )
    low, high = newcombe(x1, n1, x2, n2)
    if low <= 0 <= high or not np.isfinite(low + high):
        return ()
    on = {"with_": x1, "of_with": n1, "without": x2, "of_without": n2}
    return (message("hypotheses.missing_more_often", unit=table.unit, **on),)


Floats = NDArray[np.float64]

LONGEST = 366
FOUND = 0.8
TURNED_INTO_HINTS, MOST_AIMED_AT = 55.0, 0.9
"""The formula knows nothing of what turns a claim into a hint, which is rarer the more units there
are: it aims higher than 80 in 100 by this over the square of their number, and at most so high.
Settled on invented months, as are these."""
LOST, SPREAD = 2.0, 1.2
"""Settled on invented months (``benchmarks/promises``): the degrees of freedom that fitting the
dependence again takes from a t, and the SD of the t on normal scores where a difference is true."""


def foreseen(judged: Judged, spread: float | None = None) -> tuple[float | None, bool]:
    """Return what a claim is expected to show on new days, and whether that is too small to act on.

    Only a claim has such a number, and only if true differences spread by more than the errors do.
    Otherwise the number would come from the rule book. A claim without it is small if the
    difference itself is.

    Args:
        judged: a rule with its level.
        spread: of true differences found across all clients; by default the rule
            book's, of the few habits that matter.
    """
    test, guard = judged.test, judged.test.part.design.guard
    if judged.evidence is not Evidence.CLEAR:
        return None, False
    share = guard.share_that_matters if spread is None else 1.0
    spread = (test.target.rule.plausible_spread if spread is None else spread) / test.span
    size = None
    if spread >= guard.least_spread_in_errors * test.standard_error:
        size = expected(test.difference, test.standard_error, spread, test.df, share).difference
    told = test.difference if size is None else size
    return size, abs(told) * test.span < test.target.rule.smallest_worth_it


def at_worth(tests: Sequence[Tested]) -> list[AtHand | None]:
    """Return what the units at hand say of a true difference of the least that is worth it.

    None of a rule that is not tested. Rules with one nuisance are whitened together.
    """
    out: list[AtHand | None] = [None] * len(tests)
    for white, own in beside(tests):
        ways = np.array([-1.0 if tests[at].difference < 0 else 1.0 for at in own])
        worth = np.array([tests[at].worth for at in own])
        t = ways * expected_t(white, [tests[at] for at in own], ways * worth)
        for at, one in zip(own, t.tolist(), strict=True):
            out[at] = AtHand(one, len(white.known), white.rank, *_sides(tests[at], white))
    return out


def beside(tests: Sequence[Tested]) -> list[tuple[Whitened, list[int]]]:
    """Return each outcome with some nuisance, and which rules are tested with it."""
    found: dict[int, tuple[Whitened, list[int]]] = {}
    for at, test in enumerate(tests):
        if test.white is not None:
            found.setdefault(id(test.white), (test.white, []))[1].append(at)
    return list(found.values())


def _sides(test: Tested, white: Whitened) -> tuple[float, float]:
    if test.rule.shape is Shape.DOSE:
        half = float((~np.isnan(test.rule.values[white.known])).sum()) / 2
        return half, half
    return float(test.rule.counts.with_), float(test.rule.counts.without)


def expected_t(white: Whitened, tests: Sequence[Tested], effects: Floats) -> Floats:
    """Return the t on normal scores that true differences would have, each in place of its own.

    What was measured is taken off the outcome of each rule and its difference put in its place;
    the t is that of the second less that of the first, and a little less, since the dependence in
    time is fitted with the difference in it.

    Args:
        white: an outcome with some nuisance.
        tests: rules of it.
        effects: shape (m,), each in the unit of its rule's difference.
    """
    raw = tests[0].target.values[white.known]
    rules = [test.rule for test in tests]
    amounts = [rule.values if rule.amounts is None else rule.amounts for rule in rules]
    habits = np.column_stack(amounts)[white.known]
    habits = np.where(np.isnan(habits), np.nanmean(habits, axis=0), habits)
    without = raw[:, None] - habits * np.array([test.difference for test in tests])
    both = np.column_stack([without, without + habits * effects])
    left = white.cleared(whiten(white.times, white.dependence, normal_scores(both)))
    columns = np.column_stack([test.column for test in tests])
    t = paired(np.hstack([columns, columns]), left, white.rank).t
    found: Floats = (t[len(tests) :] - t[: len(tests)]) * (1 - LOST / max(white.df, 2 * LOST))
    return found


def days_to_settle(plan: Design, judged: Judged, hand: AtHand | None) -> int | None:
    """Return how many new days, by themselves, show a difference worth acting on 80 times in 100.

    The test is that of a kept pattern: one-sided, on days after these. None if the answer is known
    already, or if a year would not be enough.
    """
    if hand is None or judged.evidence in (Evidence.CLEAR, Evidence.LITTLE_SIGN):
        return None
    a_day = hand.units / (float(np.ptp(plan.times)) + 1)
    guard = plan.guard
    least = 0 if judged.test.rule.shape is Shape.DOSE else guard.fewest_units_each_side
    units = new_units_for(hand, guard.claim_level, FOUND, least, ceil(LONGEST * a_day))
    return None if units is None else ceil(units / a_day)


def detectable(singles: Sequence[Tested]) -> float | None:
    """Return the difference that the search would have found 80 times in 100, in one outcome.

    It is the average over the habits that can be tested, each with its own frequency. A habit is
    found if it passes the bound of the first step both by its normal scores and by its raw size.
    The interval of an unbalanced habit is wider, so that more is needed.

    Args:
        singles: every single habit of the outcome.
    """
    cuts = [test for test in singles if test.rule.shape is Shape.CUT] or list(singles)
    first = max((test.critical for test in cuts), default=np.inf)
    if not np.isfinite(first):
        return None
    shown = [interval(test, ()) or test.interval for test in cuts]
    errors = np.array([test.standard_error for test in cuts])
    reach = np.array([(high - low) / 2 for low, high in shown]) / errors
    critical = np.maximum(first, reach)
    spans = np.array([test.span for test in cuts])
    errors = errors * spans
    aim = min(FOUND + TURNED_INTO_HINTS / len(cuts[0].column) ** 2, MOST_AIMED_AT)
    told = np.ones(len(cuts))
    size = _found_at(errors, critical, told, aim)
    for _ in range(2):
        for white, own in beside(cuts):
            t = expected_t(white, [cuts[at] for at in own], size / spans[own])
            told[own] = np.clip(t / (size / errors[own]), 0.1, 1.0)
        size = _found_at(errors, critical, told, aim)
    return size


def _found_at(errors: Floats, critical: Floats, told: Floats, aim: float) -> float:
    """Return the size at which the average power over habits is what is aimed at."""
    low, high = 0.0, float((errors * (critical + 5.0) / told).max())
    for _ in range(40):
        middle = (low + high) / 2
        power = ndtr((middle * told / errors - critical) / SPREAD)
        low, high = (low, middle) if power.mean() >= aim else (middle, high)
    return high


def describe(
    plan: Design,
    judged: Judged,
    spreads: Mapping[tuple[str, str], float],
    hand: AtHand | None,
    question: Question | None = None,
) -> Hypothesis:
    """Return one hypothesis with its numbers, not yet ranked and not yet in words.

    Args:
        plan: of all units.
        judged: the rule with its level.
        spreads: (factor, outcome) -> spread of true effects found across clients.
        hand: what the units at hand say of the least difference worth it; None if not tested.
        question: the question that it answers, or None if the search found it.
    """
    test, target = judged.test, judged.test.target
    measured = not isnan(test.difference)
    on_new_units, small = foreseen(judged, spreads.get((test.factors[0], target.name)))
    notes = judged.notes
    relation = "same_day" if any(i.relation == "same_day" for i in test.items) else "precedes"
    if judged.evidence in (Evidence.CLEAR, Evidence.HINT):
        among = _asked(plan, question)
        notes += missing_more_often(plan.table, test.items, target.name, among)
    ordinary = ordinary_interval(test, 0.90) if measured else None
    return Hypothesis(
        id=identity(test.items, target.name, target.rule),
        rank=0,
        family="fixed" if question else "search",
        factors=test.factors,
        lag_days=tuple(item.lag for item in test.items),
        outcome=target.name,
        relation=relation,
        counts=test.rule.counts,
        difference=test.difference if measured else None,
        unit=target.rule.measure_unit,
        interval=interval(test, judged.doubts) if measured else None,
        p=test.p if measured else None,
        p_adjusted=test.p_adjusted if measured else None,
        evidence=judged.evidence,
        withheld=judged.withheld,
        expected_on_new_days=on_new_units,
        small=small,
        travels_with=judged.travels_with,
        could_run_backwards=relation == "same_day"
        or any(item.rule.could_run_backwards for item in test.items),
        days_to_settle=days_to_settle(plan, judged, hand),
        t_at_worth=None if hand is None else hand.t,
        doubts=judged.doubts,
        notes=notes,
        ordinary_interval=ordinary,
        standard_error=test.standard_error if measured else None,
        degrees_of_freedom=test.df if measured else None,
        fixed_on=question.fixed_on if question else None,
        fixed_before=None if question is None else question.doubt is None,
        fixed_proven=question.proven if question and question.fixed_on else None,
        guess=question.guess if question else None,
        unlikely_beyond=max(map(abs, ordinary)) if ordinary else None,
        means=_means(test),
        shape=test.rule.shape,
        per=_per(test) if test.rule.shape is Shape.DOSE else None,
    )


def _means(test: Tested) -> tuple[float, float] | None:
    values, outcome = combine([item.values for item in test.items]), test.target.values
    with_, without = (outcome[test.target.known & (values == side)] for side in (1, 0))
    if not len(with_) or not len(without):
        return None
    return float(with_.mean()), float(without.mean())


def _per(test: Tested) -> Per:
    rule = test.items[0].rule
    towards = "less" if rule.towards_less else "more"
    return Per(rule.per or 1.0, rule.measure_unit, towards, test.span)


def order_key(judged: Judged) -> tuple[float, float, int, float, tuple[str, ...], str]:
    """Order by adjusted p, the interval's nearer bound, the shorter rule, then p and names."""
    test, names = judged.test, judged.test.factors
    if isnan(test.p_adjusted):
        return (2.0, 0.0, len(names), 2.0, names, test.target.name)
    p = max(test.p_adjusted, 0.0 if judged.withheld is None else 1.5)
    return p, -test.margin, len(names), test.p, names, test.target.name


def _asked(plan: Design, question: Question | None) -> NDArray[np.bool_]:
    frame = plan.table.frame
    asked = frame.index.astype(str).isin(list(plan.asked))
    if question is not None and question.fixed_on is not None and question.doubt is None:
        asked &= frame["date"].to_numpy(dtype=str) > question.fixed_on
    return np.asarray(asked)


def outcome_summary(part: OutcomeSearch, tests: Sequence[Tested]) -> OutcomeSummary:
    """Return how an outcome varies and what this record could detect in it, or why not."""
    target = part.target
    rule, withheld = target.rule, unrankable(target, part.design.guard)
    if withheld is None and part.white is None:
        withheld = Withheld(message("hypotheses.too_few_known", unit=rule.unit))
    singles = [
        test
        for test in tests
        if test.target.name == target.name
        and len(test.rule.items) == 1
        and not isnan(test.standard_error)
    ]
    return OutcomeSummary(
        name=target.name,
        unit=rule.measure_unit,
        smallest_worth_it=rule.smallest_worth_it,
        detectable=detectable(singles),
        ordinary_wobble=part.white.unit_sd if part.white is not None else None,
        units=int(target.known.sum()),
        withheld=withheld,
    )


def hints_by_chance(tests: Sequence[Tested], level: float) -> float:
    """Return how many single-factor rules would pass as hints if nothing were true.

    The expectation of a count needs no independence: it is the sum of each rule's own chance of a
    t beyond the hint level and beyond the smallest difference worth it; of a cut and a dose of one
    habit, that either is.

    Args:
        tests: of all rules.
        level: of a hint.
    """
    habits: dict[tuple[str, tuple[int, ...]], list[Tested]] = {}
    for test in tests:
        if len(test.rule.items) == 1 and not isnan(test.p) and test.standard_error > 0:
            habits.setdefault((test.target.name, test.rule.items), []).append(test)
    return sum(_hint_by_chance(shapes, level) for shapes in habits.values())


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
        fixed: fixed questions with their answers. A question with a doubt is never clear.
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
    limits = [max(r_of_t(test.worth / test.standard_error, df), least) for test in shapes]
    return either(limits[0], limits[-1], along, df)


def _limit_of_either(along: float, df: int, level: float) -> float:
    """Return the size of a correlation that one of two shapes of a habit reaches with a chance.

    It is between that of one shape alone and that of two that know nothing of each other.
    """
    low, high = (r_of_t(t_quantile(1 - part / 2, df), df) for part in (level, level / 2))
    for _ in range(8 if along < 1 else 0):
        middle = (low + high) / 2
        above = either(middle, middle, along, df) > level
        low, high = (middle, high) if above else (low, middle)
    return low
