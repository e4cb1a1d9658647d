"""All questions of a caseload: each is fitted over the clients who agreed, Holm over all.

For one client, the mean of the others' own slopes suggests what may be asked.

Days and meals share the claim level, half for each, whichever of them is looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import hypot, isfinite

import numpy as np
from numpy.typing import NDArray

from miner.caseload.fitting import (
    Doubts,
    FitTask,
    HabitFit,
    KeptFits,
    PooledQuestion,
    fit_task,
    questions,
    read_usable,
)
from miner.caseload.question import REML_FROM, OwnSlopes, PoolFit
from miner.caseload.running import Pace, Progress, run
from miner.caseload.store import PooledUnits, Told
from miner.core.results import Doubt, Evidence, Per, Shape
from miner.core.results.caseload import ByClient, ClientRow, Estimate, PooledEffect, Suggestion
from miner.rulebook import Guardrails, RuleBook
from miner.stats.effects import t_quantile
from miner.stats.multiplicity import holm
from miner.stats.pooling_own import SubsetMeans, at_common_dependence, means_of_subsets

MIN_CLIENTS = 3
MIN_SHARE = 0.05
UNITS = 2
MAX_LISTED, MAX_LISTED_THROUGHOUT = 2_000, 500
APART = 0.5
Floats = NDArray[np.float64]


def fewest_clients(agreed: int) -> int:
    """Return how many of the clients who agreed must have what is pooled."""
    return max(MIN_CLIENTS, int(np.ceil(MIN_SHARE * agreed)))


@dataclass(frozen=True, slots=True)
class Pool:
    """The clients who agreed.

    Attributes:
        units: of all of them.
        rows: a row a client, in the order of their numbers.
        told: what each client's own ranking called each question; empty above the most listed.
    """

    units: PooledUnits
    rows: Sequence[ClientRow]
    told: Sequence[Told]


def pool_all(
    pool: Pool,
    rules: RuleBook,
    unit: str,
    *,
    workers: int = 1,
    progress: Progress | None = None,
    kept: KeptFits | None = None,
) -> tuple[list[PooledEffect], list[tuple[PooledQuestion, dict[Shape, OwnSlopes]]], int]:
    """Fit every question that enough clients can answer.

    Args:
        pool: the clients who agreed.
        rules: the rule books of the practice.
        unit: "day" or "meal".
        workers: processes of this machine.
        progress: told how far it has come.
        kept: fits of the same pool by an earlier run, used again and added to.

    Returns:
        The effects, the smallest adjusted p first; each question with the clients' own slopes; how
        many questions too few clients had.
    """
    units, clients = pool.units, len(pool.rows)
    asked = questions(units.columns, rules, unit)
    guard, least, each = rules.guardrails, fewest_clients(clients), clients <= MAX_LISTED
    tasks = [
        FitTask(at, question, units, guard, unit, least, each) for at, question in enumerate(asked)
    ]
    ready = _fits(tasks, workers, progress, kept)
    effects = []
    for (question, habit), p in zip(ready, adjusted([fit.p for _, fit in ready]), strict=True):
        read = partial(read_usable, units, question, guard, unit, habit.shape)
        doubts = partial(_doubts, Doubts(units, question, rules, unit, read), kept)
        effects.append(_effect(question, habit, float(p), guard, doubts, pool))
    effects.sort(key=_order)
    own = [
        (question, {shape: fit.own for shape, fit in habit.fits.items()})
        for question, habit in ready
    ]
    return effects, own, len(asked) - len(ready)


def adjusted(p: Sequence[float]) -> Floats:
    """Return the p of all questions of one unit, adjusted by Holm for half the claim level."""
    return np.asarray(np.minimum(1.0, UNITS * holm(p)))


def _fits(
    tasks: Sequence[FitTask], workers: int, progress: Progress | None, kept: KeptFits | None
) -> list[tuple[PooledQuestion, HabitFit]]:
    found: dict[int, HabitFit | None] = {}
    for task in tasks:
        before = None if kept is None else kept.fit(task.question)
        if before is not None:
            found[task.at] = before[0]
    left = [task for task in tasks if task.at not in found]
    pace = Pace(len(left), progress, "pooled questions")
    for at, fit in run(fit_task, left, workers=workers):
        found[at] = fit
        if kept is not None:
            kept.keep_fit(tasks[at].question, fit)
        pace.step()
    return [
        (tasks[at].question, fit)
        for at, fit in sorted(found.items(), key=lambda item: item[0])
        if fit is not None
    ]


def _doubts(doubts: Doubts, kept: KeptFits | None, difference: float) -> tuple[Doubt, ...]:
    found = None if kept is None else kept.doubts(doubts.question)
    if found is None:
        found = doubts.found(difference)
        if kept is not None:
            kept.keep_doubts(doubts.question, found)
    return found


def _effect(
    question: PooledQuestion,
    habit: HabitFit,
    p_adjusted: float,
    guard: Guardrails,
    doubts: Callable[[float], tuple[Doubt, ...]],
    pool: Pool,
) -> PooledEffect:
    fit, shape = habit.best, habit.shape
    method, answer = fit.method, fit.answer
    per = per_of(question, shape, habit.span)
    p = habit.p
    worth = question.target.smallest_worth_it / (1.0 if per is None else per.span)
    evidence, raised = judge(answer, p, p_adjusted, worth, guard, doubts)
    others = [other.answer for own, other in habit.fits.items() if own is not shape]
    effect = PooledEffect(
        factor=question.factor,
        outcome=question.outcome,
        lag_days=question.lag,
        relation=question.relation,
        unit=question.target.measure_unit,
        clients=answer.clients,
        units=habit.units[shape],
        difference=answer.difference,
        interval=answer.interval,
        df=answer.df,
        p=p if isfinite(p) else None,
        p_adjusted=p_adjusted if isfinite(p_adjusted) else None,
        spread=answer.spread,
        evidence=evidence,
        method=method,
        two_stage=fit.two_stage,
        reml=fit.reml,
        apart=_apart(fit, answer),
        between=fit.between,
        phi=fit.phi,
        smallest_worth_it=question.target.smallest_worth_it,
        spread_for_shrinkage=_about_zero(answer, method, 1.0 if per is None else per.span),
        doubts=raised,
        shape=shape,
        per=per,
        other_shape=others[0] if others else None,
    )
    if len(pool.rows) > MAX_LISTED_THROUGHOUT and evidence not in (Evidence.CLEAR, Evidence.HINT):
        return effect
    return replace(effect, by_client=_by_client(effect, fit, pool))


def judge(
    answer: Estimate,
    p: float,
    p_adjusted: float,
    worth: float,
    guard: Guardrails,
    doubts: Callable[[float], tuple[Doubt, ...]],
) -> tuple[Evidence, tuple[Doubt, ...]]:
    """Return what a pooled difference may be called, and why not more.

    One too small to matter is little sign however sure it is: with many clients the smallest
    difference is sure.

    Args:
        answer: of the shape that speaks.
        p: of the question alone, both shapes looked at.
        p_adjusted: of all questions.
        worth: the smallest difference worth acting on; of a dose, the slope that comes to it
            between the quarters of a client.
        guard: the guardrails.
        doubts: asked where it passes.
    """
    from scipy.stats import t

    if answer.difference is None or answer.standard_error is None or answer.df is None:
        return Evidence.CANNOT_TELL, ()
    reach = float(t.ppf(0.95, answer.df)) * answer.standard_error
    if -worth < answer.difference - reach and answer.difference + reach < worth:
        return Evidence.LITTLE_SIGN, ()
    if p_adjusted <= guard.claim_level:
        raised = doubts(answer.difference)
        return (Evidence.HINT if raised else Evidence.CLEAR), raised
    if p <= guard.hint_level and abs(answer.difference) >= worth:
        return Evidence.HINT, ()
    return Evidence.CANNOT_TELL, ()


def _apart(fit: PoolFit, answer: Estimate) -> bool:
    one, other = fit.reml.difference, fit.two_stage.difference
    if one is None or other is None or answer.standard_error is None:
        return False
    return abs(one - other) > APART * answer.standard_error


def per_of(question: PooledQuestion, shape: Shape, span: float) -> Per | None:
    """Return what the difference of a dose is for; None of a cut."""
    rule = question.rule
    if shape is not Shape.DOSE or rule.per is None:
        return None
    return Per(rule.per, rule.measure_unit, "less" if rule.towards_less else "more", span)


def _about_zero(answer: Estimate, method: str, span: float) -> float | None:
    """Root mean square of true differences about 0, the doubt of their mean included.

    Of a dose it is that of the differences between a client's own quarters.
    """
    if answer.difference is None or answer.standard_error is None:
        return None
    if method != "reml" and answer.clients < REML_FROM:
        return None
    mean = max(abs(answer.difference), answer.standard_error)
    return span * hypot(mean, answer.spread or 0.0)


def _by_client(effect: PooledEffect, fit: PoolFit, pool: Pool) -> tuple[ByClient, ...]:
    own = fit.shrunken
    if own is None or own.problem or effect.difference is None:
        return ()
    pair = (effect.factor, effect.outcome)
    found = []
    for at, client in enumerate(fit.clients):
        low, high = float(own.intervals[at, 0]), float(own.intervals[at, 1])
        raw, row = float(fit.raw[at]), pool.rows[client]
        outside = not low <= effect.difference <= high
        found.append(
            ByClient(
                client=row.client,
                folder=row.folder,
                raw=raw if isfinite(raw) else None,
                shrunken=float(own.slopes[at]),
                interval=(low, high),
                differs=outside and effect.clients >= REML_FROM,
                evidence=pool.told[client].get(pair, Evidence.CANNOT_TELL),
            )
        )
    return tuple(found)


def _order(effect: PooledEffect) -> tuple[float, float, str, str]:
    nothing = 2.0
    return (
        nothing if effect.p_adjusted is None else effect.p_adjusted,
        nothing if effect.p is None else effect.p,
        effect.outcome,
        effect.factor,
    )


MAX_SUGGESTED = 5
Asked = tuple[PooledQuestion, Mapping[Shape, OwnSlopes]]


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
    """A question for one client: the shape that speaks, with all that is behind it.

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
        """How far the quarters of the others are apart, the median."""
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
    return list(by_habit.values())[:MAX_SUGGESTED]


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
