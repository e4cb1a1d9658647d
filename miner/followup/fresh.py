"""One kept hypothesis on the units that did not suggest it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from miner.core.messages import message
from miner.core.results import Counts, Shape, Withheld
from miner.hypotheses.candidates import Rule, count, doses, singles, too_few
from miner.hypotheses.design import Design, Target, combine, design, made_from
from miner.hypotheses.whitened import Spectra, Whitened, whitened
from miner.ledger import FrozenIdea
from miner.rulebook import Guardrails, RuleBook
from miner.stats.effects import single, t_quantile
from miner.tables.unit_table import UnitTable

Floats = NDArray[np.float64]
_NO_DOSE = Withheld(message("followup.no_dose"))
STOPPED, UNSETTLED = "habit_stopped", "not_settled"


@dataclass(frozen=True, slots=True)
class Fresh:
    """What new units say.

    Attributes:
        counts: with, without, unknown, of new units on which the outcome is known.
        units: usable new units.
        difference: with less without, the outcome's own unit; NaN where it is not tested.
        score_t: t on the scale of normal scores.
        df: its degrees of freedom.
        inner: sum of squares of the habit's column, whitened, nuisance taken out.
        closed: why it is not tested, or None.
        stopped: whether that is so for want of days with the habit.
    """

    counts: Counts
    units: int
    difference: float
    standard_error: float
    score_t: float
    df: int
    inner: float
    closed: Withheld | None
    stopped: bool = False

    def p(self, direction: int) -> float:
        """Return the one-sided p in a direction (1 up, -1 down), NaN where it is not tested."""
        return float(stdtr(self.df, -direction * self.score_t)) if self.closed is None else np.nan

    def limits(self, level: float) -> tuple[float, float] | None:
        """Return both one-sided limits, each at ``1 - level``."""
        if self.closed is not None:
            return None
        reach = t_quantile(1 - level, self.df) * self.standard_error
        return self.difference - reach, self.difference + reach


def fresh(
    table: UnitTable, rules: RuleBook, kept: FrozenIdea, after: str, until: str | None
) -> Fresh:
    """Compare units with and without the habit that start after one day and up to another.

    Args:
        table: the client's units, made with the kept definitions.
        rules: the rule books with the kept definitions.
        kept: what the ledger keeps: factors, outcome.
        after: ISO date; units that start later count.
        until: ISO date of the last unit that counts, or None.
    """
    first = (date.fromisoformat(after) + timedelta(days=1)).isoformat()
    return compare(design(table, rules, first, until), rules.guardrails, kept)


def each_day(
    table: UnitTable, rules: RuleBook, kept: FrozenIdea, after: str, until: str, least: int
) -> Iterator[tuple[str, Fresh]]:
    """Compare the same on every day up to which there are units: what a look on that day sees.

    Args:
        table: as in :func:`fresh`.
        rules: as in :func:`fresh`.
        kept: as in :func:`fresh`.
        after: as in :func:`fresh`.
        until: ISO date of the last look.
        least: days after ``after`` to the first look.
    """
    own = replace(
        table,
        outcomes=(kept.outcome,),
        factors=tuple(name for name in table.factors if name in kept.factors),
    )
    first = (date.fromisoformat(after) + timedelta(days=least)).isoformat()
    for day in sorted(set(table.frame["date"].astype(str))):
        if first <= day <= until:
            yield day, fresh(own, rules, kept, after, day)


def compare(
    plan: Design, guard: Guardrails, kept: FrozenIdea, spectra: Spectra | None = None
) -> Fresh:
    """Compare units of a design with and without the habit.

    Args:
        plan: the new units.
        guard: the guardrails.
        kept: what the ledger keeps: factors, outcome.
        spectra: decompositions to share between calls on units of the same times.
    """
    target = plan.target(kept.outcome)
    values = _habit(plan, target, kept.factors)
    counts = count(values[:, None], target)[0]
    units = len(plan.names)
    amounts = values
    if kept.shape == Shape.DOSE:
        rule = _dose(plan, target, guard, kept.factors[0])
        closed, stopped = (_NO_DOSE, False) if rule is None else (None, False)
        if rule is not None and rule.amounts is not None:
            values, amounts = rule.values, rule.amounts
    else:
        closed, stopped = _closed(values, target, plan, guard, counts)
    if closed is None:
        names = made_from(
            [item for item in target.items if item.factor in kept.factors],
            plan.nuisance_sources,
        )
        white = whitened(plan, target.values, {} if spectra is None else spectra)
        found = _tested(plan, white and white.without(names), values, amounts, guard)
        if not isinstance(found, Withheld):
            return Fresh(counts, units, *found, None)
        closed = found
    nothing = float("nan")
    return Fresh(counts, units, nothing, nothing, nothing, 0, nothing, closed, stopped)


def _dose(plan: Design, target: Target, guard: Guardrails, factor: str) -> Rule | None:
    """Return the dose of a factor, or None where it is not known often enough."""
    cuts = singles(plan, target, guard, None)
    found = doses(plan, target, guard, cuts)
    return next((r for r in found if target.items[r.items[0]].factor == factor), None)


def _habit(plan: Design, target: Target, names: Sequence[str]) -> Floats:
    """Return the habit on every unit, unknown where these records do not hold it."""
    columns = {item.factor: item.values for item in target.items}
    unknown = np.full(len(plan.names), np.nan)
    return combine([columns.get(name, unknown) for name in names])


def _closed(
    values: Floats, target: Target, plan: Design, guard: Guardrails, counts: Counts
) -> tuple[Withheld | None, bool]:
    few = too_few(values[:, None], target, plan, guard)[0]
    if few is None:
        return None, False
    least = guard.fewest_units_each_side
    return few, counts.with_ < least <= counts.without and counts.unknown < counts.known


def _tested(
    plan: Design, white: Whitened | None, values: Floats, amounts: Floats, guard: Guardrails
) -> tuple[float, float, float, int, float] | Withheld:
    if white is None:
        return Withheld(message("followup.few_new", unit=plan.unit))
    column = white.whitened_columns(values[:, None])
    if not float(white.kept(column)[0]) >= guard.least_variation_kept:
        return Withheld(message("followup.not_told_apart"))
    column = white.cleared(column)
    sizes = white.cleared(white.whitened_columns(amounts[:, None]))
    raw = single(sizes, white.raw, white.rank)
    scores = single(column, white.scores, white.rank)
    inner = float(np.square(sizes).sum())
    return (
        float(raw.difference[0]),
        float(raw.standard_error[0]),
        float(scores.t[0]),
        white.df,
        inner,
    )
