"""Questions for one client from the records of the others: each is a mean of the others' own."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from miner.caseload.doubts import PooledQuestion
from miner.caseload.pooling import adjusted, fewest_clients, judge, per_of
from miner.caseload.question import OwnSlopes
from miner.core.results import Evidence, Shape
from miner.core.results.caseload import Estimate
from miner.core.results.suggestions import Suggestion
from miner.rulebook import RuleBook
from miner.stats.effects import t_quantile
from miner.stats.pooling_own import SubsetMeans, at_common_dependence, means_of_subsets

MOST_SUGGESTED = 5
Asked = tuple[PooledQuestion, Mapping[Shape, OwnSlopes]]
Floats = NDArray[np.float64]


def suggest(
    asked: Sequence[Asked],
    agreed: int,
    left_out: Sequence[Collection[int]],
    rules: RuleBook,
    unit: str,
) -> list[tuple[list[Suggestion], int]]:
    """Return, for each client, what the others suggest, and of how many questions.

    There is one suggestion a habit, the strongest first.

    A question is the random-effects mean of the others' own slopes, so that nothing of the client
    left out is in it. Of cut and dose the better speaks, its p doubled; Holm over all questions.

    Args:
        asked: every question with each client's own slopes.
        agreed: how many clients are in the pool; their numbers are 0 to ``agreed`` - 1.
        left_out: for each client, the numbers that are left out: its own and those of any copy.
        rules: the rule books of the practice.
        unit: "day" or "meal".
    """
    used = np.ones((len(left_out), agreed), dtype=bool)
    for at, numbers in enumerate(left_out):
        used[at, list(numbers)] = False
    least = np.array([fewest_clients(int(row.sum())) for row in used])
    means = [{shape: _means(own, used) for shape, own in by_shape.items()} for _, by_shape in asked]
    p = [{shape: _p(found, least) for shape, found in by_shape.items()} for by_shape in means]
    return [
        _chosen(
            [
                _one(question, by_shape, found, chances, used[at], at)
                for (question, by_shape), found, chances in zip(asked, means, p, strict=True)
            ],
            rules,
            unit,
        )
        for at in range(len(left_out))
    ]


def _means(own: OwnSlopes, used: NDArray[np.bool_]) -> SubsetMeans:
    held = used[:, own.clients]
    return means_of_subsets(*at_common_dependence(own.on_grid, held), held)


def _p(found: SubsetMeans, least: NDArray[np.intp]) -> Floats:
    return np.where(found.groups >= least, found.p, np.nan)


@dataclass(frozen=True, slots=True)
class _Found:
    """A question for one client: the shape that speaks, with all that stands behind it.

    Attributes:
        p: of the better of both shapes.
        at: which of the subsets of ``means``.
        others: of ``own``, those who are not left out.
    """

    question: PooledQuestion
    shape: Shape
    p: float
    means: SubsetMeans
    at: int
    own: OwnSlopes
    others: NDArray[np.bool_]

    @property
    def answer(self) -> Estimate:
        """The mean of the others with its 95 % interval."""
        mean, error = (
            float(x[self.at]) for x in (self.means.estimates, self.means.standard_errors)
        )
        df = int(self.means.groups[self.at]) - 1
        reach = t_quantile(0.975, df) * error
        return Estimate(mean, error, (mean - reach, mean + reach), df, self.p, None, df + 1)

    @property
    def span(self) -> float:
        """How far the quarters of the others lie apart, the median."""
        return float(np.median(self.own.spans[self.others]))


def _one(
    question: PooledQuestion,
    own: Mapping[Shape, OwnSlopes],
    means: Mapping[Shape, SubsetMeans],
    p: Mapping[Shape, Floats],
    used: NDArray[np.bool_],
    at: int,
) -> _Found | None:
    known = [shape for shape in p if isfinite(p[shape][at])]
    if not known:
        return None
    shape = min(known, key=lambda one: float(p[one][at]))
    both = min(1.0, len(known) * float(p[shape][at]))
    others = used[own[shape].clients]
    return _Found(question, shape, both, means[shape], at, own[shape], others)


def _chosen(
    found: Sequence[_Found | None], rules: RuleBook, unit: str
) -> tuple[list[Suggestion], int]:
    asked = [item for item in found if item is not None]
    told = [
        _suggestion(item, float(p), rules, unit)
        for item, p in zip(asked, adjusted([item.p for item in asked]), strict=True)
        if item.p <= rules.guardrails.hint_level
    ]
    return strongest([item for item in told if item is not None]), len(asked)


def strongest(found: Sequence[Suggestion]) -> list[Suggestion]:
    """Return one suggestion a habit, at most five, the smallest adjusted p first."""
    ordered = sorted(found, key=lambda item: (item.p_adjusted, item.p, item.outcome, item.factor))
    by_habit: dict[str, Suggestion] = {}
    for item in ordered:
        by_habit.setdefault(item.factor, item)
    return list(by_habit.values())[:MOST_SUGGESTED]


def _suggestion(found: _Found, p_adjusted: float, rules: RuleBook, unit: str) -> Suggestion | None:
    question, answer = found.question, found.answer
    per = per_of(question, found.shape, found.span)
    worth = question.target.smallest_worth_it / (1.0 if per is None else per.span)
    evidence, _ = judge(answer, found.p, p_adjusted, worth, rules.guardrails, lambda _: ())
    if (
        evidence not in (Evidence.CLEAR, Evidence.HINT)
        or answer.difference is None
        or answer.interval is None
    ):
        return None
    return Suggestion(
        factor=question.factor,
        outcome=rules.key_of(question.outcome, unit),
        by=unit,
        lag_days=question.lag,
        relation=question.relation,
        guess="up" if answer.difference > 0 else "down",
        clients=answer.clients,
        difference=answer.difference,
        interval=answer.interval,
        unit=question.target.measure_unit,
        p=found.p,
        p_adjusted=p_adjusted,
        evidence=evidence,
        shape=found.shape,
        per=per,
    )
