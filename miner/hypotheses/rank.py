"""The main job: rank the patterns of a table, or answer one question about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING

import numpy as np

from miner.core.messages import MinerError, closest, message
from miner.core.period import EVER, Period
from miner.core.results import Evidence, Hypothesis, OutcomeSummary, Together
from miner.hypotheses.describe import (
    at_worth,
    clear_by_chance,
    describe,
    hints_by_chance,
    order_key,
    outcome_summary,
)
from miner.hypotheses.design import WHOLE_DAY, Design, Question, Run, design, with_whole_day
from miner.hypotheses.fixed import a_hint_at_most, answer, meets
from miner.hypotheses.guard import Judged, judge_all
from miner.hypotheses.search import search
from miner.stats.out_of_sample import out_of_sample

if TYPE_CHECKING:
    from miner.hypotheses.tested import Tested
    from miner.rulebook import RuleBook
    from miner.tables.unit_table import UnitTable


def predicted(plan: Design, outcome: str) -> Together:
    """Foretell each later part of the record from what came before it.

    ``better`` asks for a gain of two standard errors. The held-out units are taken as
    independent, so this describes and never claims.
    """
    target = plan.target(outcome)
    factors = (
        np.column_stack([item.values for item in target.items])
        if target.items
        else np.empty((len(plan.names), 0))
    )
    found = out_of_sample(target.values, factors)
    better = bool(found.gain > 2 * found.gain_se) if not found.reason else None
    return Together(
        outcome=outcome,
        better=better,
        **{each.name: getattr(found, each.name) for each in fields(found)},
    )


SECOND_LOOK = message("hypotheses.second_look")


@dataclass(frozen=True, slots=True)
class RankingRequest:
    """What is asked of a table's ranking.

    Attributes:
        primary: the outcome with half the claim level; by default as the contract says.
        questions: fixed before the records.
        share: part of the claim level of fixed questions that these have.
        period: the days used.
        second_look: the practice ranks the other unit by default: nothing is called clear.
        spreads: (factor, outcome) -> spread of true effects found across clients.
        out_of_sample: also ask whether all factors together predict held-out units.
    """

    primary: str | None = None
    questions: Sequence[Question] = ()
    share: float = 1.0
    period: Period = EVER
    second_look: bool = False
    spreads: Mapping[tuple[str, str], float] = field(default_factory=dict)
    out_of_sample: bool = False


@dataclass(frozen=True, slots=True)
class Ranked:
    """The statistical part of a ranking, before words and bookkeeping."""

    unit: str
    usable_units: int
    left_out_units: int
    need_units: int
    enough: bool
    primary_outcome: str | None
    questions_asked: int
    hints_by_chance: float | None
    outcomes: tuple[OutcomeSummary, ...]
    hypotheses: tuple[Hypothesis, ...]
    together: Together | None = None
    clear_by_chance: float = 0.0


def rank_table(
    table: UnitTable, rules: RuleBook, wanted: RankingRequest | None = None, run: Run | None = None
) -> Ranked:
    """Answer the fixed questions, search everything, and rank both.

    A rule that a fixed question answers still counts in the search, so fixing one never makes
    another clear. It is listed once, with the fixed questions.

    Args:
        table: days or meals.
        rules: the rule books.
        wanted: what is asked of it.
        run: the draws and their seed.
    """
    wanted, run = wanted or RankingRequest(), run or Run()
    guard = rules.guardrails
    if any(question.outcome == WHOLE_DAY for question in wanted.questions):
        table = with_whole_day(table, rules)
    plan = design(table, rules, wanted.period)
    usable = len(plan.names)
    if usable < plan.need:
        return Ranked(table.unit, usable, plan.left_out, plan.need, False, None, 0, None, (), ())
    main = wanted.primary or plan.default_primary
    asked = [question for question in wanted.questions if meets(plan, question)]
    found = search(plan, main, run)
    fixed = answer(plan, asked, run, wanted.share) if asked else []
    shapes = {(item.factor, item.outcome): item.shape for item in asked if item.shape}
    judged = judge_all(found.tests, shapes)
    fixed = [(question, as_searched(question, own, judged)) for question, own in fixed]
    alone = {_rule(own.test) for _, own in fixed if own.test.rule.withheld is None}
    listed = [test for test in found.tests if _rule(test) not in alone]
    judged = [item for item in judged if _rule(item.test) not in alone]
    may_be_clear = [] if wanted.second_look else judged
    judged = [second_looked(item) for item in judged] if wanted.second_look else judged
    searched = {_rule(test) for test in listed if test.rule.withheld is None}
    return Ranked(
        table.unit,
        usable,
        plan.left_out,
        plan.need,
        True,
        main,
        len(searched) + len(fixed),
        hints_by_chance(listed, guard.hint_level),
        tuple(outcome_summary(part, found.tests) for part in found.outcomes),
        _ordered(plan, main, fixed, judged, wanted.spreads),
        predicted(plan, main) if wanted.out_of_sample else None,
        clear_by_chance(may_be_clear, fixed, guard.claim_level, wanted.share),
    )


def _rule(test: Tested) -> tuple[tuple[str, ...], str]:
    """Return what a test is of, as a cut or as a dose."""
    return test.factors, test.target.name


def as_searched(question: Question, own: Judged, judged: Sequence[Judged]) -> Judged:
    """Return the answer to a question; with a doubt, the answer of the search on all days.

    A question that the records may have suggested gets the interval and the p of that search.
    """
    if question.doubt is None:
        return own
    for item in judged:
        if item.test.rule.withheld is None and _rule(item.test) == _rule(own.test):
            return a_hint_at_most(item, question.doubt)
    return own


def _not_passed(item: Hypothesis, level: float) -> bool:
    return item.withheld is not None or item.p_adjusted is None or item.p_adjusted > level


def second_looked(judged: Judged) -> Judged:
    """Return a claim of a second look as the hint it is."""
    if judged.evidence is not Evidence.CLEAR:
        return judged
    return replace(judged, evidence=Evidence.HINT, notes=(*judged.notes, SECOND_LOOK))


def _ordered(
    plan: Design,
    main: str,
    fixed: Sequence[tuple[Question, Judged]],
    judged: Sequence[Judged],
    spreads: Mapping[tuple[str, str], float],
) -> tuple[Hypothesis, ...]:
    listed: list[tuple[Question | None, Judged]] = [*fixed]
    listed += [(None, item) for item in sorted(judged, key=order_key)]
    hands = at_worth([item.test for _, item in listed])
    described = [
        describe(plan, item, spreads, hand, question)
        for (question, item), hand in zip(listed, hands, strict=True)
    ]
    first, others = described[: len(fixed)], described[len(fixed) :]
    others = [replace(h, family="primary") if h.outcome == main else h for h in others]
    first.sort(key=lambda item: (item.p_adjusted is None, item.p_adjusted or 0.0))
    for items in (first, others):
        # What is small comes after everything else that passed.
        items.sort(key=lambda item: (_not_passed(item, plan.guard.claim_level), item.small))
    return tuple(replace(item, rank=place) for place, item in enumerate([*first, *others], start=1))


def ask_table(
    table: UnitTable,
    rules: RuleBook,
    question: Question,
    *,
    family: Sequence[Question] = (),
    share: float = 1.0,
    spreads: Mapping[tuple[str, str], float] | None = None,
) -> Hypothesis:
    """Answer one question on its own days.

    Args:
        table: days or meals.
        rules: the rule books.
        question: what is asked.
        family: all questions fixed by this unit, this one among them; empty where none is fixed.
        share: part of the claim level that these have.
        spreads: (factor, outcome) -> spread of true effects found across clients.

    Raises:
        MinerError: the factor or the outcome is unknown, or the two never meet.
    """
    if WHOLE_DAY in (question.outcome, *(item.outcome for item in family)):
        table = with_whole_day(table, rules)
    plan = design(table, rules)
    require_meeting(plan, question)
    together = [item for item in family if meets(plan, item)] or [question]
    answers = answer(plan, together, Run(), share)
    asked, judged = next(found for found in answers if found[0] == question)
    (hand,) = at_worth([judged.test])
    found = describe(plan, judged, spreads or {}, hand, asked)
    return replace(found, rank=1)


def require_meeting(plan: Design, question: Question) -> None:
    """Refuse a question whose factor can neither come before nor go with its outcome.

    Raises:
        MinerError: with the names that would be right.
    """
    outcomes = {target.name: target for target in plan.targets}
    if question.outcome not in outcomes:
        names = list(dict.fromkeys([*outcomes, *plan.rules.asked_only(plan.unit)]))
        raise MinerError(
            "hypotheses.outcome_unknown",
            outcome=question.outcome,
            unit=plan.unit,
            known=names,
            close=closest(question.outcome, names),
        )
    plan.rules.factor(question.factor, plan.unit)
    items = {item.factor: item for item in outcomes[question.outcome].items}
    if question.factor not in items:
        raise MinerError(
            "hypotheses.never_meet",
            factor=question.factor,
            outcome=question.outcome,
            known=list(items),
            close=closest(question.factor, items),
        )
