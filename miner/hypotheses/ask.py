"""One question: the test of one rule, with no search to pay for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from miner.core.errors import MinerError, closest
from miner.core.results import Hypothesis
from miner.hypotheses.describe import describe
from miner.hypotheses.design import Design, design
from miner.hypotheses.fixed import Question, answer, meets
from miner.hypotheses.promises import at_worth
from miner.hypotheses.whole_day import NAME, with_whole_day
from miner.rulebook import RuleBook
from miner.tables.unit_table import UnitTable


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
    if NAME in (question.outcome, *(item.outcome for item in family)):
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
