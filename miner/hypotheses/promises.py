"""What a claim will show on new days, what a record could have shown, and how long new ones take.

Each of these is what happens: ``benchmarks/promises.py`` counts it in invented months.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from miner.core.results import Evidence, Shape
from miner.hypotheses.design import Design
from miner.hypotheses.doubts import interval
from miner.hypotheses.guard import Judged
from miner.hypotheses.tested import Tested
from miner.hypotheses.whitened import Whitened
from miner.rulebook import Guardrails
from miner.stats.dependence import whiten
from miner.stats.effects import expected, paired
from miner.stats.power import AtHand, new_units_for
from miner.stats.scores import normal_scores

Floats = NDArray[np.float64]

LONGEST = 366
FOUND = 0.8
AIMED_AT = 0.87
"""What the formula aims at so that 80 in 100 are found: it knows nothing of what turns a claim
into a hint. Settled on invented months, as are these."""
LOST, SPREAD = 2.0, 1.2
"""Settled on invented months (``benchmarks/promises``): the degrees of freedom that fitting the
dependence again takes from a t, and the SD of the t on normal scores where a difference is true."""


def foreseen(
    judged: Judged, guard: Guardrails, spread: float | None = None
) -> tuple[float | None, bool]:
    """Return what a claim is expected to show on new days, and whether that is too small to act on.

    Nothing is expected beside anything less than a claim, nor where true differences spread by
    less than the errors do: the number would be the rule book's. A claim without it is small where
    the difference itself is.

    Args:
        judged: a rule with its level.
        guard: the guardrails.
        spread: of true differences found across clients, who all count; by default the rule
            book's, of the few habits that matter.
    """
    test = judged.test
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

    None of a rule that is not tested. Rules beside one nuisance are whitened together.
    """
    out: list[AtHand | None] = [None] * len(tests)
    for white, own in beside(tests):
        ways = np.array([-1.0 if tests[at].difference < 0 else 1.0 for at in own])
        worth = np.array([tests[at].target.rule.smallest_worth_it / tests[at].span for at in own])
        t = ways * expected_t(white, [tests[at] for at in own], ways * worth)
        for at, one in zip(own, t.tolist(), strict=True):
            out[at] = AtHand(one, len(white.known), white.rank, *_sides(tests[at], white))
    return out


def beside(tests: Sequence[Tested]) -> list[tuple[Whitened, list[int]]]:
    """Return each outcome beside some nuisance, and which rules are tested beside it."""
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
        white: an outcome beside some nuisance.
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


def days_to_settle(
    plan: Design, judged: Judged, hand: AtHand | None, guard: Guardrails
) -> int | None:
    """Return how many new days, by themselves, show a difference worth acting on 80 times in 100.

    The test is that of a kept idea: one-sided, on days after these. None where the answer is
    there already, or a year would not do.
    """
    if hand is None or judged.evidence in (Evidence.CLEAR, Evidence.LITTLE_SIGN):
        return None
    a_day = hand.units / span_of(plan)
    least = 0 if judged.test.rule.shape is Shape.DOSE else guard.fewest_units_each_side
    units = new_units_for(hand, guard.claim_level, FOUND, least, ceil(LONGEST * a_day))
    return None if units is None else ceil(units / a_day)


def span_of(plan: Design) -> float:
    """Return how many days the units of a design span."""
    return float(np.ptp(plan.times)) + 1


def detectable(singles: Sequence[Tested], guard: Guardrails) -> float | None:
    """Return the difference that the search would have found 80 times in 100, in one outcome.

    The average over the habits that can be tested, each of its own frequency: beyond the bound of
    the first step both by its order and by its size, whichever says less.

    Args:
        singles: every single habit of the outcome.
        guard: the guardrails; of an unbalanced habit the interval allows for more.
    """
    cuts = [test for test in singles if test.rule.shape is Shape.CUT] or list(singles)
    first = max((test.critical for test in cuts), default=np.inf)
    if not np.isfinite(first):
        return None
    shown = [interval(test, (), guard) or test.interval for test in cuts]
    reach = np.array(
        [
            (high - low) / 2 / test.standard_error
            for (low, high), test in zip(shown, cuts, strict=True)
        ]
    )
    critical = np.maximum(first, reach)
    errors = np.array([test.standard_error * test.span for test in cuts])
    spans = np.array([test.span for test in cuts])
    told = np.ones(len(cuts))
    size = _found_at(errors, critical, told)
    for _ in range(2):
        for white, own in beside(cuts):
            t = expected_t(white, [cuts[at] for at in own], size / spans[own])
            told[own] = np.clip(t / (size / errors[own]), 0.1, 1.0)
        size = _found_at(errors, critical, told)
    return size


def _found_at(errors: Floats, critical: Floats, told: Floats) -> float:
    """Return the size at which the average power over habits is that of a promise."""
    low, high = 0.0, float((errors * (critical + 5.0) / told).max())
    for _ in range(40):
        middle = (low + high) / 2
        power = ndtr((middle * told / errors - critical) / SPREAD)
        low, high = (low, middle) if power.mean() >= AIMED_AT else (middle, high)
    return high
