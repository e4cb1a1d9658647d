"""Why a pooled difference that passes the claim level may still be no more than a hint."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from miner.caseload.question import Units, fit_question
from miner.caseload.store import PooledUnits
from miner.caseload.units import BY_CLOCK, factor_column
from miner.rulebook import FactorRule, OutcomeRule, RuleBook
from miner.stats.pooling import within_between

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Question:
    """A factor that may come before, or go with, an outcome."""

    factor: str
    rule: FactorRule
    lag: int
    outcome: str
    target: OutcomeRule

    @property
    def relation(self) -> str:
        """Whether the factor comes before the outcome or goes with it."""
        same = self.target.window in self.rule.same_time and self.lag == 0
        return "same_day" if same else "precedes"


@dataclass(frozen=True, slots=True)
class Doubts:
    """What can be asked once more about one pooled question.

    Attributes:
        units: everything of the clients who agreed.
        read: reads the units of a question that can tell something.
    """

    units: PooledUnits
    question: Question
    rules: RuleBook
    unit: str
    read: Callable[[], Units]

    def found(self, difference: float) -> tuple[str, ...]:
        """Return why a difference that passes is a hint all the same; empty if it is not."""
        fitted = self.read()
        said = (self._confounders(fitted, difference), self._by_clock(fitted, difference))
        return tuple(note for note in said if note is not None)

    def _again(self, fitted: Units, column: str) -> Floats:
        values = self.units.read([column])[column].to_numpy(dtype=float)
        return np.asarray(values[fitted.rows])

    def _confounders(self, fitted: Units, difference: float) -> str | None:
        halved = []
        for name in self.question.rule.confounders:
            column = self._beside(name)
            if column is None:
                continue
            within = within_between(self._again(fitted, column), fitted.clients)[0]
            values = np.nan_to_num(within, nan=0.0)[:, None]
            if not values.any():
                continue
            again = fit_question(fitted, each=False, beside=values).answer
            if again.difference is None or not again.difference / difference >= 0.5:
                halved.append(self.rules.factor(name, self.unit).phrase)
        if not halved:
            return None
        return f"Beside {' or '.join(halved)}, less than half of the difference is left."

    def _beside(self, name: str) -> str | None:
        own = self.rules.factors_of(self.unit).get(name)
        if own is None or name == self.question.factor:
            return None
        lag = own.lag.get(self.question.target.window)
        column = None if lag is None else factor_column(name, lag)
        return column if column in self.units.columns else None

    def _by_clock(self, fitted: Units, difference: float) -> str | None:
        if self.question.target.window not in self.question.rule.moves_window:
            return None
        y = self._again(fitted, f"{BY_CLOCK}{self.question.outcome}")
        units = replace(fitted, y=y).only(np.isfinite(y))
        if units.who >= 2:
            again = fit_question(units, each=False).answer
            if (
                again.difference is not None
                and again.p is not None
                and again.difference * difference > 0
                and again.p <= self.rules.guardrails.hint_level
            ):
                return None
        return "It does not hold when the outcome is read at fixed clock times."
