"""The main job: a table in, a guarded ranking out; or one question in, its answer out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from miner.core.messages import MinerError, closest, message
from miner.core.results import Evidence, Hypothesis, OutcomeSummary, Together
from miner.hypotheses.describe import (
    at_worth,
    clear_by_chance,
    describe,
    hints_by_chance,
    order_key,
    outcome_summary,
)
from miner.hypotheses.design import WHOLE_DAY, Design, Question, design, with_whole_day
from miner.hypotheses.fixed import a_hint_at_most, answer, meets
from miner.hypotheses.guard import Judged, judge_all
from miner.hypotheses.search import Progress, search
from miner.hypotheses.tested import Spectra, Tested
from miner.rulebook import RuleBook
from miner.stats.out_of_sample import out_of_sample
from miner.tables.unit_table import UnitTable


def foretold(plan: Design, outcome: str) -> Together:
    """Foretell each later part of the record from what came before it.

    ``better`` asks for a gain of two standard errors. The held-back units are taken as
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
    table: UnitTable,
    rules: RuleBook,
    *,
    primary: str | None = None,
    questions: Sequence[Question] = (),
    share: float = 1.0,
    draws: int | None = None,
    seed: int = 0,
    first: str | None = None,
    last: str | None = None,
    second_look: bool = False,
    spreads: Mapping[tuple[str, str], float] | None = None,
    progress: Progress | None = None,
    spectra: Spectra | None = None,
    out_of_sample: bool = False,
) -> Ranked:
    """Answer the fixed questions, search everything, and rank both under guard.

    A rule that a fixed question answers is counted in the search like any other, so that fixing
    one never makes another stand out; it is listed once, with the fixed questions.

    Args:
        table: days or meals.
        rules: the rule books.
        primary: the outcome with half the claim level; by default as the contract says.
        questions: fixed before the records.
        share: part of the claim level of fixed questions that these have.
        draws: permutations; by default the rule book's.
        seed: of the permutations.
        first: first date used, ISO.
        last: last date used, ISO.
        second_look: the practice ranks the other unit by default: nothing is called clear.
        spreads: (factor, outcome) -> spread of true effects found across clients.
        progress: told what is being done and the share done.
        spectra: decompositions to share between calls on the same days.
        out_of_sample: also ask whether all factors together foretell held-back units.
    """
    guard = rules.guardrails
    if any(question.outcome == WHOLE_DAY for question in questions):
        table = with_whole_day(table, rules)
    plan = design(table, rules, first, last)
    need = guard.fewest_days_to_rank if table.unit == "day" else guard.fewest_meals_to_rank
    usable = len(plan.names)
    if usable < need:
        return Ranked(table.unit, usable, plan.left_out, need, False, None, 0, None, (), ())
    main = primary or plan.default_primary
    cache: Spectra = {} if spectra is None else spectra
    asked = [question for question in questions if meets(plan, question)]
    found = search(
        plan,
        main,
        guard,
        draws=draws or guard.draws,
        seed=seed,
        progress=progress,
        spectra=cache,
    )
    dates = table.frame.loc[list(plan.names), "date"].astype(str).tolist()
    fixed = []
    if asked:
        fixed = answer(plan, dates, asked, guard, share=share, seed=seed, spectra=cache)
    shapes = {(item.factor, item.outcome): item.shape for item in asked if item.shape}
    judged = judge_all(found.outcomes, found.tests, guard, shapes)
    fixed = [(question, as_searched(question, own, judged)) for question, own in fixed]
    alone = _answered_alone(fixed)
    listed = [test for test in found.tests if not _asks_one_of(test, alone)]
    judged = [item for item in judged if not _asks_one_of(item.test, alone)]
    may_be_clear = [] if second_look else judged
    judged = [second_looked(item) for item in judged] if second_look else judged
    hypotheses = _ordered(table, plan, main, fixed, judged, rules, spreads or {})
    summaries = tuple(outcome_summary(part, found.tests, guard) for part in found.outcomes)
    searched = {
        (test.target.name, test.rule.items) for test in listed if test.rule.withheld is None
    }
    asked_about = len(searched) + len(fixed)
    chance = hints_by_chance(listed, guard)
    return Ranked(
        table.unit,
        usable,
        plan.left_out,
        need,
        True,
        main,
        asked_about,
        chance,
        summaries,
        hypotheses,
        foretold(plan, main) if out_of_sample else None,
        clear_by_chance(may_be_clear, fixed, guard.claim_level, share),
    )


def as_searched(question: Question, own: Judged, judged: Sequence[Judged]) -> Judged:
    """Return the answer to a question; of one with a doubt, what the search gives, all days used.

    What the records may have suggested has the interval and the luck of the search that did.
    """
    if question.doubt is None:
        return own
    pair = frozenset({(question.factor, question.outcome)})
    for item in judged:
        if item.test.rule.withheld is None and _asks_one_of(item.test, pair):
            return a_hint_at_most(item, question.doubt)
    return own


def _not_passed(item: Hypothesis, level: float) -> bool:
    return item.withheld is not None or item.p_adjusted is None or item.p_adjusted > level


def _answered_alone(fixed: Sequence[tuple[Question, Judged]]) -> frozenset[tuple[str, str]]:
    return frozenset(
        (question.factor, question.outcome)
        for question, judged in fixed
        if judged.test.rule.withheld is None
    )


def _asks_one_of(test: Tested, pairs: frozenset[tuple[str, str]]) -> bool:
    items = test.rule.items
    return len(items) == 1 and (test.target.items[items[0]].factor, test.target.name) in pairs


def second_looked(judged: Judged) -> Judged:
    """Return a claim of a second look as the hint it is."""
    if judged.evidence is not Evidence.CLEAR:
        return judged
    return replace(judged, evidence=Evidence.HINT, notes=(*judged.notes, SECOND_LOOK))


def _ordered(
    table: UnitTable,
    plan: Design,
    main: str,
    fixed: Sequence[tuple[Question, Judged]],
    judged: Sequence[Judged],
    rules: RuleBook,
    spreads: Mapping[tuple[str, str], float],
) -> tuple[Hypothesis, ...]:
    rest = sorted(judged, key=order_key)
    hands = at_worth([item.test for item in [*(own for _, own in fixed), *rest]])
    first = [
        describe(table, plan, item, "fixed", rules, spreads, hand, question)
        for (question, item), hand in zip(fixed, hands, strict=False)
    ]
    others = [
        describe(
            table,
            plan,
            item,
            "primary" if item.test.target.name == main else "search",
            rules,
            spreads,
            hand,
        )
        for item, hand in zip(rest, hands[len(fixed) :], strict=True)
    ]
    first.sort(key=lambda item: (item.p_adjusted is None, item.p_adjusted or 0.0))
    passed = rules.guardrails.claim_level
    for items in (first, others):
        # What is small comes after everything else that passed.
        items.sort(key=lambda item: (_not_passed(item, passed), item.small))
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
    require_meeting(plan, rules, question)
    dates = table.frame.loc[list(plan.names), "date"].astype(str).tolist()
    together = [item for item in family if meets(plan, item)] or [question]
    answers = answer(plan, dates, together, rules.guardrails, share=share)
    asked, judged = next(found for found in answers if found[0] == question)
    (hand,) = at_worth([judged.test])
    found = describe(table, plan, judged, "fixed", rules, spreads or {}, hand, asked)
    return replace(found, rank=1)


def require_meeting(plan: Design, rules: RuleBook, question: Question) -> None:
    """Refuse a question whose factor can neither come before nor go with its outcome.

    Raises:
        MinerError: with the names that would be right.
    """
    outcomes = {target.name: target for target in plan.targets}
    if question.outcome not in outcomes:
        names = list(dict.fromkeys([*outcomes, *rules.asked_only(plan.unit)]))
        raise MinerError(
            "hypotheses.outcome_unknown",
            outcome=question.outcome,
            unit=plan.unit,
            known=names,
            close=closest(question.outcome, names),
        )
    rules.factor(question.factor, plan.unit)
    items = {item.factor: item for item in outcomes[question.outcome].items}
    if question.factor not in items:
        raise MinerError(
            "hypotheses.never_meet",
            factor=question.factor,
            outcome=question.outcome,
            known=list(items),
            close=closest(question.factor, items),
        )
