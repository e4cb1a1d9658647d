"""Every question that may be asked of a pool, and the fit of one of them as a task of its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, nan

import numpy as np
import pandas as pd

from miner.caseload.doubts import PooledQuestion
from miner.caseload.question import (
    OwnSlopes,
    PoolFit,
    Units,
    cleared,
    fit_question,
    own_slopes,
    usable,
    usable_dose,
)
from miner.caseload.store import CLIENT, PooledUnits
from miner.caseload.units import FACTOR, NUISANCE, OUTCOME, TIME, factor_column
from miner.core.results import Shape
from miner.hypotheses.design import nuisance_source
from miner.rulebook import Guardrails, RuleBook
from miner.stats.effects import either, r_of_t, t_quantile

FEWEST_EACH_SIDE = 2


@dataclass(frozen=True, slots=True, eq=False)
class HabitFit:
    """One question by the cut of its factor and by its dose, as far as enough clients have them.

    Attributes:
        fits: at least one; ``units`` how many units each rests on.
        span: of a dose, how far a client's own quarters lie apart, the median over clients.
        along: correlation of cut and dose, cleared, where both are fitted; else 1.
    """

    fits: Mapping[Shape, PoolFit]
    units: Mapping[Shape, int]
    span: float
    along: float

    @property
    def shape(self) -> Shape:
        """The shape that speaks: the smaller p, the cut where they are equal."""
        return min(self.fits, key=lambda shape: _p_of(self.fits[shape]))

    @property
    def best(self) -> PoolFit:
        """The fit of that shape."""
        return self.fits[self.shape]

    @property
    def p(self) -> float:
        """Of the better of both, by their correlation; NaN where neither has an answer.

        Both differences are taken to have the freedom of the one that has less.
        """
        alone = _p_of(self.best)
        freedom = [fit.answer.df for fit in self.fits.values() if fit.answer.df is not None]
        if len(freedom) < 2:
            return alone if isfinite(alone) else nan
        df = min(freedom)
        r = r_of_t(t_quantile(alone / 2, df), df)
        return max(alone, either(r, r, self.along, df))


def _p_of(fit: PoolFit) -> float:
    return float("inf") if fit.answer.p is None else fit.answer.p


def questions(columns: Sequence[str], rules: RuleBook, unit: str) -> list[PooledQuestion]:
    """Return every pair of factor and outcome that may meet and has its columns."""
    names = {
        name.removeprefix(FACTOR).rpartition("@")[0] for name in columns if name.startswith(FACTOR)
    }
    found = []
    for outcome, target in rules.outcomes_of(unit).items():
        if f"{OUTCOME}{outcome}" not in columns:
            continue
        for factor in sorted(names):
            rule = rules.factor(factor, unit)
            lag = rule.lag.get(target.window)
            if lag is not None and factor_column(factor, lag) in columns:
                found.append(PooledQuestion(factor, rule, lag, outcome, target))
    return found


def read_usable(
    units: PooledUnits,
    question: PooledQuestion,
    guard: Guardrails,
    unit: str,
    shape: Shape = Shape.CUT,
) -> Units:
    """Read the units of one question, those of clients who can tell something about it."""
    nuisance = [
        name
        for name in units.columns
        if name.startswith(NUISANCE)
        and nuisance_source(name.removeprefix(NUISANCE)) not in question.rule.made_from
    ]
    x, y = factor_column(question.factor, question.lag, shape), f"{OUTCOME}{question.outcome}"
    frame = units.read([TIME, x, y, *nuisance])
    shared = tuple(
        at for at, name in enumerate(nuisance) if not name.startswith(f"{NUISANCE}sensor ")
    )
    found = Units(
        y=_floats(frame, y),
        x=_floats(frame, x),
        clients=frame[CLIENT].to_numpy(dtype=np.intp),
        times=_floats(frame, TIME),
        nuisance=frame[nuisance].fillna(0.0).to_numpy(dtype=float),
        shared=shared,
        rows=np.arange(len(frame)),
    )
    fewest = guard.fewest_days_to_describe if unit == "day" else guard.fewest_meals_to_rank
    if shape is Shape.DOSE:
        return usable_dose(
            found,
            fewest_different=guard.fewest_units_each_side,
            largest_tied=guard.largest_share_tied,
            fewest_units=fewest,
            least_kept=guard.least_variation_kept,
        )
    return usable(
        found,
        fewest_each_side=FEWEST_EACH_SIDE,
        fewest_units=fewest,
        least_kept=guard.least_variation_kept,
    )


@dataclass(frozen=True, slots=True)
class FitTask:
    """One question to fit.

    Attributes:
        at: its place among all.
        least: fewest clients.
        each: predict every client's own slope.
    """

    at: int
    question: PooledQuestion
    units: PooledUnits
    guard: Guardrails
    unit: str
    least: int
    each: bool

    def by_shape(self) -> dict[Shape, Units]:
        """Return the units of the cut and of the dose, each where enough clients have it."""
        lag, factor = self.question.lag, self.question.factor
        found = {
            shape: read_usable(self.units, self.question, self.guard, self.unit, shape)
            for shape in Shape
            if factor_column(factor, lag, shape) in self.units.columns
        }
        return {shape: units for shape, units in found.items() if units.who >= self.least}


def fit_task(task: FitTask) -> tuple[int, HabitFit | None]:
    """Return the question's place and its fit, None where neither shape has enough clients."""
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1):
        chosen = task.by_shape()
        if not chosen:
            return task.at, None
        fits = {shape: fit_question(units, each=task.each) for shape, units in chosen.items()}
        counts = {shape: int(units.y.size) for shape, units in chosen.items()}
        dose = fits.get(Shape.DOSE)
        span = 1.0 if dose is None else float(np.median(dose.own.spans))
        return task.at, HabitFit(fits, counts, span, _along(chosen))


def own_task(task: FitTask) -> tuple[int, dict[Shape, OwnSlopes]]:
    """Return the question's place and each client's own slope by shape, without a pooled fit."""
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1):
        return task.at, {shape: own_slopes(units) for shape, units in task.by_shape().items()}


def _along(chosen: Mapping[Shape, Units]) -> float:
    """Return the correlation of cut and dose on the units that have both."""
    if len(chosen) < 2:
        return 1.0
    cut, dose = chosen[Shape.CUT], chosen[Shape.DOSE]
    _, first, second = np.intersect1d(cut.rows, dose.rows, return_indices=True)
    one, other = cleared(cut)[first], cleared(dose)[second]
    size = float(np.sqrt((one @ one) * (other @ other)))
    return float(one @ other) / size if size > 0 else 0.0


def _floats(frame: pd.DataFrame, name: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return frame[name].to_numpy(dtype=float)
