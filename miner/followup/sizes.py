"""What a pair of a test is made of: how its units scatter, and of meals which kind is read."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from scipy.optimize import brentq
from scipy.stats import binom

from miner.core.messages import MinerError
from miner.hypotheses.design import design, lagged
from miner.hypotheses.tested import whitened
from miner.ledger import FrozenIdea
from miner.rulebook import RuleBook
from miner.stats.power import pair_spread, pairs_power
from miner.tables.unit_table import UnitTable

WANTED, BEYOND_ANY = 0.8, 1000


@dataclass(frozen=True, slots=True)
class Scatter:
    """How units of one client scatter.

    Attributes:
        unit_sd: standard deviation of a unit after nuisance.
        phi, w: their dependence from day to day.
        units_a_day: how many units a day has.
        known: share of the days on which the outcome is known and used.
        habit_variance: the part of a unit's variance that comes from the habit being there on some
            units and not on others; under the change there is none of it.
        counts: units with the habit and without it; None for those of what was kept.
    """

    unit_sd: float
    phi: float
    w: float
    units_a_day: int = 1
    known: float = 1.0
    habit_variance: float = 0.0
    counts: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class Size:
    """How large a test is.

    Attributes:
        period_days, leave_out_days: days of a period, and those of them that do not count.
        pairs: of periods.
        spread: standard deviation of a pair's difference.
        known: share of days on which the outcome is known.
    """

    period_days: int
    leave_out_days: int
    pairs: int
    spread: float
    known: float = 1.0


def sized(scatter: Scatter, carry_over_days: int, pairs: int) -> Size:
    """Return a test of so many pairs, its periods as short as the carry-over allows.

    Args:
        scatter: of the client's units.
        carry_over_days: days at the start of a period that do not count; one day more is a period.
        pairs: how many.
    """
    length = carry_over_days + 1
    spread = spread_of(scatter, length, carry_over_days)
    return Size(length, carry_over_days, pairs, spread, scatter.known)


def complete_share(size: Size) -> float:
    """Return the share of pairs of which both periods hold a day that counts and is known."""
    counted = size.period_days - size.leave_out_days
    return (1 - (1 - size.known) ** counted) ** 2


def power_of(size: Size, contrast: float) -> float:
    """Return how often a test finds a difference of its arms.

    The mean over how many of its pairs will be complete: binomial.
    """
    pairs = np.arange(1, size.pairs + 1)
    chances = binom.pmf(pairs, size.pairs, complete_share(size))
    likely = [(int(n), float(chance)) for n, chance in zip(pairs, chances, strict=True)]
    return sum(
        chance * pairs_power(contrast, size.spread, n) for n, chance in likely if chance > 1e-4
    )


def detectable_by(size: Size) -> float | None:
    """Return the smallest difference of its arms that a test finds 80 times in 100.

    None where no difference is found so often, for too many of its pairs will not be complete.
    """
    high = size.spread
    while power_of(size, high) < WANTED:
        high *= 2
        if high > BEYOND_ANY * size.spread:
            return None
    return float(brentq(lambda found: power_of(size, found) - WANTED, 0.0, high, xtol=0.001 * high))


def spread_of(scatter: Scatter, length: int, leave_out: int) -> float:
    """Return the standard deviation of a pair's difference for periods of that length."""
    days = np.repeat(np.arange(2 * length, dtype=float), scatter.units_a_day)
    place = days % length
    counted = place >= leave_out
    first = days < length
    whole = pair_spread(days[counted], first[counted], scatter.unit_sd, scatter.phi, scatter.w)
    # at most what one of the two periods adds: the other one is as usual
    less = min(scatter.habit_variance, scatter.unit_sd**2) / int((counted & first).sum())
    return sqrt(max(whole**2 - less, whole**2 / 2))


def scatter(table: UnitTable, rules: RuleBook, outcome: str, meal: str = "") -> Scatter:
    """Return how an outcome scatters from unit to unit in these records.

    Args:
        table: the client's units.
        rules: the rule books.
        outcome: its name.
        meal: the kind of meal that alone is read; without one, all units.

    Raises:
        MinerError: too little is known of it.
    """
    units = design(of_meal(table, meal), rules)
    target = units.target(outcome)
    white = whitened(units, target.values, {})
    known = int(target.known.sum())
    if known < rules.guardrails.fewest_days_to_describe:
        need = rules.guardrails.fewest_days_to_describe
        raise MinerError("followup.few_to_scatter", known=known, unit=table.unit, need=need)
    if white is None or not white.unit_sd > 0:
        raise MinerError("followup.no_scatter", known=known, unit=table.unit)
    days = len(set(units.times[target.known].tolist()))
    a_day = max(1, round(float(target.known.sum()) / days)) if days else 1
    share = days / len(set(table.frame["date"])) if days else 1.0
    return Scatter(white.unit_sd, white.dependence.phi, white.dependence.w, a_day, share)


MEALS = ("breakfast", "lunch", "dinner")


def of_meal(table: UnitTable, meal: str) -> UnitTable:
    """Return the meals of one kind; without a kind, all units."""
    if not meal:
        return table
    own = (table.frame["meal"] == meal).to_numpy(dtype=bool)
    return replace(
        table,
        frame=table.frame[own],
        measures=table.measures[own],
        by_clock=table.by_clock[own],
        context=table.context[own],
    )


def meal_of(table: UnitTable, what: FrozenIdea, asked: str | None) -> str:
    """Return the kind of meal a pair is made of; nothing for habits of days.

    It is the kind with most usable meals with the habit, of equals the earliest in the day.

    Args:
        table: the client's units.
        what: what is tested.
        asked: the kind that was asked for, or None.

    Raises:
        MinerError: a meal is asked for that is none, or of a habit of days.
    """
    if table.unit != "meal":
        if asked:
            raise MinerError("followup.meal_of_days", meal=asked)
        return ""
    if asked:
        if asked not in MEALS:
            raise MinerError("followup.no_such_meal", meal=asked, known=MEALS)
        return asked
    return max(MEALS, key=lambda meal: with_and_without(of_meal(table, meal), what)[0])


def with_and_without(table: UnitTable, what: FrozenIdea) -> tuple[int, int]:
    """Return on how many usable units the habit is there, and on how many it is not."""
    habit = lagged(table.frame, what.factors[0], what.lag_days[0])
    known = habit[table.frame["usable"].to_numpy(dtype=bool) & ~np.isnan(habit)]
    return int((known == 1.0).sum()), int((known == 0.0).sum())
