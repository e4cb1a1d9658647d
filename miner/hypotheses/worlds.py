"""Months like this client's in which nothing is true, or one thing is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isnan
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from miner.hypotheses.candidates import singles
from miner.hypotheses.design import Design, design
from miner.hypotheses.tested import Spectra, whitened
from miner.stats.dependence import Pattern, imitate, scatter_together
from miner.stats.effects import independent
from miner.stats.scores import normal_scores

if TYPE_CHECKING:
    from miner.rulebook import RuleBook
    from miner.tables.unit_table import UnitTable

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Model:
    """A client's months to come, as the records describe them when nothing is true.

    Attributes:
        rows: shape (n,), the usable rows of the table.
        patterns: one an outcome that can be ranked.
        together: correlation of the outcomes' scatter.
        cause: item and outcome that are true in the months with an effect, and its column.
    """

    table: UnitTable
    rows: NDArray[np.bool_]
    times: Floats
    names: tuple[str, ...]
    patterns: tuple[Pattern, ...]
    together: Floats
    cause: tuple[str, str, Floats] | None
    unit_sd: float


def model(table: UnitTable, rules: RuleBook, primary: str) -> Model:
    """Fit level, nuisance, dependence and scatter of every outcome.

    What a factor is made from is scatter here: in a month in which nothing is true it is not true.
    """
    plan = design(table, rules)
    rows = table.frame["usable"].to_numpy(dtype=bool)
    spectra: Spectra = {}
    names, patterns, scatter = [], [], []
    unit_sd = float("nan")
    for target in plan.searched:
        fitted_all = whitened(plan, target.values, spectra)
        if fitted_all is None:
            continue
        names_left = plan.made_from(target.items)
        white = fitted_all.without(names_left)
        scores = normal_scores(target.values[white.known])
        nuisance = white.columns[:, independent(white.columns)]
        spread = float(np.sqrt(white.scores @ white.scores / (len(scores) - white.rank)))
        fitted = np.zeros(len(target.values))
        fitted[white.known] = nuisance @ np.linalg.lstsq(nuisance, scores, rcond=None)[0]
        column = np.full(len(target.values), np.nan)
        column[white.known] = white.scores / spread
        names.append(target.name)
        patterns.append(Pattern(target.values, fitted, spread, white.dependence))
        scatter.append(column)
        if target.name == primary:
            unit_sd = white.unit_sd
    together = scatter_together(np.column_stack(scatter)) if scatter else np.empty((0, 0))
    return Model(
        table,
        rows,
        plan.times,
        tuple(names),
        tuple(patterns),
        together,
        None if isnan(unit_sd) else _cause(plan, primary),
        unit_sd,
    )


def world(fitted: Model, rng: np.random.Generator, shift: float = 0.0) -> UnitTable:
    """Draw one month; ``shift`` is added to the true outcome on the units with the factor.

    Args:
        fitted: the client's model.
        rng: the source of chance.
        shift: in the outcome's own unit; 0 for a month in which nothing is true.
    """
    drawn = imitate(list(fitted.patterns), fitted.times, fitted.together, rng)
    frame = fitted.table.frame.copy()
    for name, values in zip(fitted.names, drawn, strict=True):
        if shift and fitted.cause is not None and name == fitted.cause[1]:
            values = values + shift * np.nan_to_num(fitted.cause[2])
        column = np.full(len(frame), np.nan)
        column[fitted.rows] = values
        frame[name] = column
    outcomes = list(fitted.table.outcomes)
    return replace(fitted.table, frame=frame, by_clock=frame[outcomes].copy())


def _cause(plan: Design, primary: str) -> tuple[str, str, Floats] | None:
    """Return the factor of middling frequency among those that can be tested."""
    target = plan.target(primary)
    open_rules = [rule for rule in singles(plan, target) if rule.withheld is None]
    if not open_rules:
        return None
    open_rules.sort(key=lambda rule: (rule.counts.with_, rule.items))
    middle = open_rules[len(open_rules) // 2]
    return target.items[middle.items[0]].factor, primary, middle.values
