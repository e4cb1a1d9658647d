"""From a kept hypothesis and a start to a whole plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from miner.core.errors import MinerError, several
from miner.core.results import Plan
from miner.followup import planning
from miner.hypotheses.design import design
from miner.hypotheses.whitened import whitened
from miner.rulebook import FactorRule, RuleBook
from miner.stats.pair_power import pairs_detectable, pairs_power
from miner.stats.randomisation import smallest_p
from miner.tables.unit_table import UnitTable


@dataclass(frozen=True, slots=True)
class Wish:
    """What was asked for.

    Attributes:
        start: first day.
        worth_having: a larger difference than the smallest worth it, or None.
        pairs: how many, or None for what 80 % power needs.
        sensor_days: how long a sensor is worn where no change is known.
    """

    start: date
    worth_having: float | None = None
    pairs: int | None = None
    sensor_days: int = planning.SENSOR_DAYS


def make_plan(
    table: UnitTable,
    rules: RuleBook,
    what: Mapping[str, Any],
    rule: FactorRule,
    wish: Wish,
    *,
    seed: int | None,
    sensor_changes: Sequence[date],
) -> Plan:
    """Return a plan: how many pairs, when, in which order, what it can show.

    Without a seed nothing is drawn: the days are there, their order and the plan's name are not.

    Args:
        table: the client's units with the kept definitions; their scatter sets the size.
        rules: the rule books with the kept definitions.
        what: what was kept.
        rule: of the habit that is tested.
        wish: what was asked for.
        seed: of the coins, or None before it is agreed on.
        sensor_changes: known dates of a new sensor.

    Raises:
        MinerError: it would take more than half a year, too little is known of the outcome, or
            what was asked for cannot be.
    """
    outcome = rules.outcome(str(what["outcome"]), table.unit)
    worth = _worth(wish, float(what["smallest_worth_it"]), outcome.measure_unit)
    size = planning.size(
        scatter(table, rules, str(what["outcome"])), worth, rule.carry_over_days, wish.pairs
    )
    if size is None:
        raise planning.too_long(worth, outcome.measure_unit, wish.pairs)
    worth, notes = _no_larger(worth, size.spread, what, outcome.measure_unit)
    offset = int(what["lag_days"][0]) + int(rule.stream == "sleep")
    id_ = str(what["id"])
    periods, changes = planning.lay_out(
        size, wish.start, offset, seed, sensor_changes, wish.sensor_days
    )
    end = date.fromisoformat(periods[-1].last) + timedelta(days=offset)
    return Plan(
        plan="" if seed is None else planning.plan_name(id_, wish.start, seed),
        id=id_, factor=str(what["factors"][0]), outcome=str(what["outcome"]), unit_of=table.unit,
        unit=outcome.measure_unit, change=rule.try_, periods=periods, pairs=size.pairs,
        period_days=size.period_days, offset_days=offset, seed=seed,
        smallest_p=smallest_p(size.pairs),
        power_at_worth_having=pairs_power(worth, size.spread, size.pairs),
        detectable=pairs_detectable(size.spread, size.pairs), worth_having=worth,
        pair_spread=size.spread, weeks=planning.weeks_of(periods), sensors=len(changes) + 1,
        sensor_changes=tuple(day.isoformat() for day in changes), read_on=end.isoformat(),
        six_pairs_find=pairs_detectable(size.spread, planning.FEWEST_PAIRS), notes=notes,
    )  # fmt: skip


def scatter(table: UnitTable, rules: RuleBook, outcome: str) -> planning.Scatter:
    """Return how an outcome scatters from unit to unit in these records.

    Raises:
        MinerError: too little is known of it.
    """
    units = design(table, rules)
    target = units.target(outcome)
    white = whitened(units, target.values, {})
    known = int(target.known.sum())
    if known < rules.guardrails.fewest_days_to_describe:
        raise MinerError(
            f"{known} usable {table.unit}s do not tell how much it scatters",
            f"at least {rules.guardrails.fewest_days_to_describe}", "Keep logging.",
        )  # fmt: skip
    if white is None or not white.wobble > 0:
        raise MinerError(
            f"it does not scatter: it is the same, or nearly, on all {known} {table.unit}s",
            "an outcome that differs between them", "Choose another, or watch it: --as watch.",
        )  # fmt: skip
    days = len(set(units.times[target.known].tolist()))
    a_day = max(1, round(float(target.known.sum()) / days)) if days else 1
    return planning.Scatter(white.wobble, white.dependence.phi, white.dependence.w, a_day)


def _worth(wish: Wish, smallest: float, unit: str) -> float:
    if wish.pairs is not None and wish.pairs < planning.FEWEST_PAIRS:
        raise MinerError(
            f"{several(wish.pairs, 'pair')} cannot settle anything",
            f"at least {planning.FEWEST_PAIRS} pairs",
            "Correct --pairs, or leave it out.",
        )  # fmt: skip
    worth = wish.worth_having
    if worth is not None and not worth >= smallest:
        raise MinerError(
            f"a difference of {worth:g} {unit} is smaller than what is worth acting on",
            f"at least {smallest:g} {unit}", "Correct --worth-having, or leave it out.",
        )  # fmt: skip
    return smallest if worth is None else worth


def _no_larger(
    worth: float, spread: float, what: Mapping[str, Any], unit: str
) -> tuple[float, tuple[str, ...]]:
    """Return the difference, no larger than six pairs can find: beyond it any test says no."""
    most = max(float(what["smallest_worth_it"]), pairs_detectable(spread, planning.FEWEST_PAIRS))
    if worth <= most:
        return worth, ()
    told = f"Six pairs find {most:.3g} {unit} already, so this is the difference worth having."
    return most, (told,)
