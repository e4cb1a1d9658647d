"""Why a rule that passes the claim level may still be no more than a hint."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from miner.core.results import Doubt, DoubtCode, Shape
from miner.hypotheses.tested import OutcomeSearch, Tested
from miner.hypotheses.whitened import Whitened
from miner.rulebook import Guardrails
from miner.stats import effects
from miner.stats.effects import orthonormal, residual, robust

Floats = NDArray[np.float64]

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
LEAST_LEFT = 0.5
MOSTLY = 0.75
KEEPS_TO_WEEKDAYS = 0.01
CR3, LEAST_LEVEL = 1.0, 0.001
"""With so few degrees of freedom a smaller p is one of the t distribution, not of the days."""


@dataclass(frozen=True, slots=True)
class Levels:
    """What a rule that passes must still hold at.

    Attributes:
        by_clock: where its outcome is read at fixed clock times.
        weekday: within weekdays.
    """

    by_clock: float
    weekday: float


def doubts(
    part: OutcomeSearch, test: Tested, guard: Guardrails, levels: Levels
) -> tuple[Doubt, ...]:
    """Return why a rule that passes the claim level is a hint all the same; empty if it is not."""
    white = test.white
    if white is None:
        return ()
    found = (
        *_order(test),
        *_one_unit(part, test, white, guard),
        *_confounders(part, test, white),
        *_clock(part, test, white, levels.by_clock),
        *_weekday(part, test, white, guard, levels.weekday),
        *_unequal_spread(test, white, guard),
    )
    return tuple(found)


def _order(test: Tested) -> list[Doubt]:
    """The order of the values passes the bound of its step, their size does not."""
    if test.holds:
        return []
    return [Doubt(DoubtCode.ORDER)]


def _one_unit(part: OutcomeSearch, test: Tested, white: Whitened, guard: Guardrails) -> list[Doubt]:
    without = effects.beside(test.amounts, white.unit_columns(), white.raw, white.rank)
    left = without.difference / test.difference
    worst = int(np.nanargmin(left))
    if left[worst] >= 1 - guard.shrink_when_one_unit_left_out:
        return []
    return [Doubt(DoubtCode.ONE_DAY, part.names[int(white.known[worst])], float(left[worst]))]


def _confounders(part: OutcomeSearch, test: Tested, white: Whitened) -> list[Doubt]:
    recorded = {name for at in test.rule.items for name in part.target.items[at].rule.confounders}
    chosen = [
        at
        for at, rule in enumerate(part.rules)
        if len(rule.items) == 1
        and part.target.items[rule.items[0]].factor in recorded
        and rule.items[0] not in test.rule.items
        and rule.counts.with_ > 0
        and rule.counts.without > 0
    ]
    columns = white.cleared(part.amounts[:, chosen])
    beside = effects.beside(test.amounts, columns, white.raw, white.rank)
    left = beside.difference / test.difference
    return [
        Doubt(DoubtCode.CONFOUNDER, part.target.items[part.rules[at].items[0]].factor, _size(share))
        for at, share in zip(chosen, left.tolist(), strict=True)
        if not share >= LEAST_LEFT
    ]


def _clock(part: OutcomeSearch, test: Tested, white: Whitened, level: float) -> list[Doubt]:
    target = part.target
    moved = [target.items[at].rule for at in test.rule.items]
    if not any(target.rule.window in rule.moves_window for rule in moved):
        return []
    fixed = target.by_clock.copy()
    missing = np.isnan(fixed[white.known])
    fixed[np.isnan(fixed)] = 0.0
    outcome = white.outcome(fixed)
    taken = white.unit_columns()[:, missing]
    basis = orthonormal(taken[:, np.square(taken).sum(axis=0) > 1e-12])
    column, outcome = residual(basis, np.column_stack([test.amounts, outcome])).T
    found = effects.single(column[:, None], outcome, white.rank + basis.shape[1])
    left = float(found.difference[0]) / test.difference
    if left > 0 and float(found.p[0]) <= level:
        return []
    return [Doubt(DoubtCode.CLOCK, None, _size(left))]


def _weekday(
    part: OutcomeSearch, test: Tested, white: Whitened, guard: Guardrails, level: float
) -> list[Doubt]:
    """A week of its own can bring the habit and the outcome together week after week.

    Only a habit that keeps to weekdays pays for this: it must hold within them.
    """
    if len(np.unique(white.times)) < guard.weekdays_from_days:
        return []
    weekday = (white.times.astype(int) + 3) % 7
    columns = np.zeros((len(part.names), 7))
    columns[white.known] = weekday[:, None] == np.arange(7)
    wider = white.beside(columns)
    column, amounts = wider.cleared(np.column_stack([test.column, test.amounts])).T
    kept = float(column @ column) / float(test.column @ test.column)
    if effects.explained(1 - kept, wider.rank - white.rank, wider.df + 1) > KEEPS_TO_WEEKDAYS:
        return []
    left, p = 0.0, 1.0
    if kept > 1e-8:
        size = effects.single(amounts[:, None], wider.raw, wider.rank).difference
        left = float(size[0]) / test.difference
        p = float(effects.single(column[:, None], wider.scores, wider.rank).p[0])
    if left >= LEAST_LEFT and p <= level:
        return []
    values = test.rule.values[white.known]
    more = values == 1 if test.rule.shape is Shape.CUT else values > 0
    return [Doubt(DoubtCode.WEEKDAY, _mostly_on(weekday[more]), left)]


def _mostly_on(weekday: NDArray[np.intp]) -> str:
    """Return the fewest weekdays that hold most of the units, in the order of the week."""
    counts = np.bincount(weekday, minlength=7)
    order = np.argsort(-counts, kind="stable")
    needed = int(np.searchsorted(np.cumsum(counts[order]), MOSTLY * counts.sum())) + 1
    return " ".join(WEEKDAYS[day] for day in sorted(order[:needed]))


def _unequal_spread(test: Tested, white: Whitened, guard: Guardrails) -> list[Doubt]:
    """A habit on few units, or on most, whose units vary more than the others; so its dose."""
    if not _unbalanced(test, guard):
        return []
    low, high = _allowing_for_spread(test, white)
    found = robust(test.column, white.scores, white.nuisance, white.times, CR3)
    if found.p <= _level(test) and not low <= 0 <= high:
        return []
    share = test.rule.counts.with_ / test.rule.counts.known
    return [Doubt(DoubtCode.UNEQUAL_SPREAD, "with" if share < LEAST_LEFT else "without")]


def interval(test: Tested, found: Iterable[Doubt], guard: Guardrails) -> tuple[float, float] | None:
    """Return the simultaneous interval that may be shown of a rule, the outcome's own unit.

    That of an unbalanced habit allows for units that vary more than the others. Where the habit and
    the outcome may share a week there is none: no scatter of days knows of that.
    """
    if any(doubt.code is DoubtCode.WEEKDAY for doubt in found):
        return None
    if test.white is None or not _unbalanced(test, guard):
        return test.interval
    return _allowing_for_spread(test, test.white)


def _allowing_for_spread(test: Tested, white: Whitened) -> tuple[float, float]:
    """Return the wider of two intervals at one level: by one spread of all units, and by CR3."""
    found = robust(test.amounts, white.raw, white.nuisance, white.times, CR3)
    reach = effects.t_quantile(1 - _level(test) / 2, found.df) * found.standard_error
    widest = np.fmax(reach, test.critical * test.standard_error)
    return float(test.difference - widest), float(test.difference + widest)


def _level(test: Tested) -> float:
    """Return the p at which a rule passes its own step, or the least that CR3 can tell."""
    own = float(effects.two_sided(np.array([test.critical]), test.df)[0])
    return max(own, LEAST_LEVEL)


def _unbalanced(test: Tested, guard: Guardrails) -> bool:
    share = test.rule.counts.with_ / test.rule.counts.known
    return not guard.unbalanced_share <= share <= 1 - guard.unbalanced_share


def _size(value: float) -> float | None:
    return value if np.isfinite(value) else None
