"""What a pair of a test is made of: how its units scatter, and of meals which kind is read."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np

from miner.core.messages import MinerError
from miner.hypotheses.design import design, lagged
from miner.hypotheses.tested import whitened
from miner.ledger import FrozenIdea
from miner.rulebook import RuleBook
from miner.stats.power import pair_spread
from miner.tables.unit_table import UnitTable


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
    """How large a test is: days of a period, days of it left out, pairs, a pair's scatter."""

    period_days: int
    leave_out_days: int
    pairs: int
    spread: float


def sized(scatter: Scatter, carry_over_days: int, pairs: int) -> Size:
    """Return a test of so many pairs, its periods as short as the carry-over allows.

    Args:
        scatter: of the client's units.
        carry_over_days: days at the start of a period that do not count; one day more is a period.
        pairs: how many.
    """
    length = carry_over_days + 1
    return Size(length, carry_over_days, pairs, spread_of(scatter, length, carry_over_days))


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
