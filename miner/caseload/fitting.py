"""Every question that may be asked of a pool, and the fit of one of them as a task of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from miner.caseload.doubts import Question
from miner.caseload.question import PoolFit, Units, fit_question, usable
from miner.caseload.store import CLIENT, PooledUnits
from miner.caseload.units import FACTOR, NUISANCE, OUTCOME, TIME, factor_column
from miner.hypotheses.design import nuisance_source
from miner.rulebook import Guardrails, RuleBook

FEWEST_EACH_SIDE = 2


def questions(columns: Sequence[str], rules: RuleBook, unit: str) -> list[Question]:
    """Return every pair of factor and outcome that may meet and has its columns."""
    names = {name.removeprefix(FACTOR).rpartition("@")[0] for name in columns
             if name.startswith(FACTOR)}  # fmt: skip
    found = []
    for outcome, target in rules.outcomes_of(unit).items():
        if f"{OUTCOME}{outcome}" not in columns:
            continue
        for factor in sorted(names):
            rule = rules.factor(factor, unit)
            lag = rule.lag.get(target.window)
            if lag is not None and factor_column(factor, lag) in columns:
                found.append(Question(factor, rule, lag, outcome, target))
    return found


def read_usable(units: PooledUnits, question: Question, guard: Guardrails, unit: str) -> Units:
    """Read the units of one question, those of clients who can tell something about it."""
    nuisance = [
        name
        for name in units.columns
        if name.startswith(NUISANCE)
        and nuisance_source(name.removeprefix(NUISANCE)) not in question.rule.made_from
    ]
    x, y = factor_column(question.factor, question.lag), f"{OUTCOME}{question.outcome}"
    frame = units.read([TIME, x, y, *nuisance])
    shared = tuple(
        at for at, name in enumerate(nuisance) if not name.startswith(f"{NUISANCE}sensor ")
    )
    found = Units(
        y=_floats(frame, y), x=_floats(frame, x), clients=frame[CLIENT].to_numpy(dtype=np.intp),
        times=_floats(frame, TIME), nuisance=frame[nuisance].fillna(0.0).to_numpy(dtype=float),
        shared=shared, rows=np.arange(len(frame)),
    )  # fmt: skip
    fewest = guard.fewest_days_to_describe if unit == "day" else guard.fewest_meals_to_rank
    return usable(
        found, fewest_each_side=FEWEST_EACH_SIDE, fewest_units=fewest,
        least_kept=guard.least_variation_kept,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class FitTask:
    """One question to fit.

    Attributes:
        at: its place among all.
        least: fewest clients.
        each: predict every client's own slope.
    """

    at: int
    question: Question
    units: PooledUnits
    guard: Guardrails
    unit: str
    least: int
    each: bool


def fit_task(task: FitTask) -> tuple[int, PoolFit | None, int]:
    """Return the question's place, its fit (None with too few clients) and its units."""
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1):
        chosen = read_usable(task.units, task.question, task.guard, task.unit)
        if chosen.who < task.least:
            return task.at, None, 0
        return task.at, fit_question(chosen, each=task.each), int(chosen.y.size)


def _floats(frame: pd.DataFrame, name: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return frame[name].to_numpy(dtype=float)
