"""Why a pooled difference that passes the claim level may still be no more than a hint."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from miner.caseload.question import Units, fit_question
from miner.caseload.store import PooledUnits
from miner.caseload.units import BY_CLOCK, factor_column
from miner.core.results import Doubt, DoubtCode, Shape
from miner.rulebook import FactorRule, OutcomeRule, RuleBook
from miner.stats.pooling import within_between

Floats = NDArray[np.float64]
LEAST_LEFT = 0.5


@dataclass(frozen=True, slots=True)
class PooledQuestion:
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
    question: PooledQuestion
    rules: RuleBook
    unit: str
    read: Callable[[], Units]

    def found(self, difference: float) -> tuple[Doubt, ...]:
        """Return why a difference that passes is a hint all the same; empty if it is not."""
        fitted = self.read()
        level = self.rules.guardrails.weekday_level_searched
        others = (
            self._by_clock(fitted, difference),
            weekday_doubt(fitted, difference, level),
        )
        confounders = self._confounders(fitted, difference)
        return (*confounders, *(doubt for doubt in others if doubt is not None))

    def _again(self, fitted: Units, column: str) -> Floats:
        values = self.units.read([column])[column].to_numpy(dtype=float)
        return np.asarray(values[fitted.rows])

    def _confounders(self, fitted: Units, difference: float) -> list[Doubt]:
        found = []
        for name in self.question.rule.confounders:
            beside = [self._left(fitted, difference, column) for column in self._beside(name)]
            left = [share for share in beside if share is None or not share >= LEAST_LEFT]
            if left:
                least = None if None in left else min(share for share in left if share is not None)
                found.append(Doubt(DoubtCode.CONFOUNDER, name, least))
        return found

    def _left(self, fitted: Units, difference: float, column: str) -> float | None:
        """Return the share of a difference that is left beside a column; None if not fitted."""
        within = within_between(self._again(fitted, column), fitted.clients)[0]
        values = np.nan_to_num(within, nan=0.0)[:, None]
        if not values.any():
            return 1.0
        again = fit_question(fitted, each=False, beside=values).answer
        return None if again.difference is None else again.difference / difference

    def _beside(self, name: str) -> list[str]:
        """Return the columns of a confounder, its cut and its dose."""
        own = self.rules.factors_of(self.unit).get(name)
        lag = None if own is None else own.lag.get(self.question.target.window)
        if lag is None or name == self.question.factor:
            return []
        columns = (factor_column(name, lag, shape) for shape in Shape)
        return [column for column in columns if column in self.units.columns]

    def _by_clock(self, fitted: Units, difference: float) -> Doubt | None:
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
        return Doubt(DoubtCode.CLOCK)


def weekday_doubt(units: Units, difference: float, level: float) -> Doubt | None:
    """Return the doubt about a difference that does not hold within weekdays; None where it does.

    A week that clients have in common brings a habit and an outcome together in all of them. What
    each client's own week does differs from client to client, and shows in how far they lie apart.

    Args:
        units: of the question.
        difference: as found, not 0.
        level: the largest p at which it holds.
    """
    again = fit_question(_within_weekdays(units), each=False).answer
    left = None if again.difference is None else again.difference / difference
    if left is not None and again.p is not None and left >= LEAST_LEFT and again.p <= level:
        return None
    return Doubt(DoubtCode.WEEKDAY, left=left)


def _within_weekdays(units: Units) -> Units:
    """Return the units with what all clients have in common by the weekday taken out."""
    weekday = np.floor(units.times).astype(int) % 7
    days = np.eye(7)[weekday][:, 1:].T
    columns = np.column_stack([within_between(day, units.clients)[0] for day in days])

    def cleared(values: Floats) -> Floats:
        inside = within_between(values, units.clients)[0]
        taken = columns @ np.linalg.lstsq(columns, inside, rcond=1e-9)[0]
        return np.asarray(values - taken)

    return replace(units, x=cleared(units.x), y=cleared(units.y))
