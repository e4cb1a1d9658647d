"""Questions fixed before the records: each is tested alone, on the days after it was fixed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from miner.hypotheses.candidates import Rule, singles
from miner.hypotheses.design import Design, Target
from miner.hypotheses.guard import Judged, judge_one
from miner.hypotheses.overlaps import companions
from miner.hypotheses.tested import OutcomeSearch, Tested, measure, prepare, untested
from miner.results import Evidence, Withheld
from miner.rulebook import Guardrails
from miner.stats.effects import t_quantile
from miner.stats.multiplicity import holm, holm_levels
from miner.stats.scores import share_tied

LOOKED = "This question was not fixed before these records: a hint at most."
LOOKS_LOST = (
    "Entries of the ledger before it are lost. Whether anyone had looked is not known: a hint at "
    "most."
)
DEFINED_OTHERWISE = "It was defined otherwise when it was fixed: a hint at most."

REWORDED = "Its words were merged or parted after a look at later days: a hint at most."


@dataclass(frozen=True, slots=True)
class Question:
    """One question: does this factor come before, or go with, this outcome?

    Attributes:
        guess: "up", "down" or None, as written down.
        fixed_on: ISO date; only units that start after it count. None: all units count.
        proven: the ledger shows the date; else it is shown as told.
        doubt: why the answer is a hint at most, as that these records had been ranked before it
            was fixed; None where nothing speaks against it.
    """

    factor: str
    outcome: str
    guess: str | None = None
    fixed_on: str | None = None
    proven: bool = False
    doubt: str | None = None


def answer(
    design: Design,
    dates: Sequence[str],
    questions: Sequence[Question],
    guard: Guardrails,
    *,
    share: float = 1.0,
) -> list[tuple[Question, Judged]]:
    """Test each question alone on its own days; Holm over those that can be tested.

    Args:
        design: all usable units.
        dates: ISO date of each unit of the design.
        questions: at least one; factor and outcome must meet in the design.
        guard: the guardrails.
        share: part of the claim level that these have, questions by the other unit the rest.
    """
    entries = [_measured(design, dates, question, guard) for question in questions]
    open_tests = [test for _, test in entries if test.rule.withheld is None]
    p = np.array([test.p for test in open_tests])
    adjusted = np.minimum(1.0, holm(p) / share)
    steps = zip(adjusted, holm_levels(p, share * guard.claim_level), strict=True)
    out = []
    for question, (part, test) in zip(questions, entries, strict=True):
        if test.rule.withheld is None:
            own, level = next(steps)
            critical = t_quantile(1 - float(level) / 2, test.df)
            test = replace(test, p_adjusted=float(own), critical=critical)
        judged = judge_one(part, companions(part), test, guard, guard.hint_level)
        out.append((question, a_hint_at_most(judged, question.doubt)))
    return out


def a_hint_at_most(judged: Judged, doubt: str | None) -> Judged:
    """Return an answer, a hint at most where there is a doubt, which is told."""
    if doubt is None:
        return judged
    level = Evidence.HINT if judged.evidence is Evidence.CLEAR else judged.evidence
    return replace(judged, evidence=level, notes=(*judged.notes, doubt))


def meets(plan: Design, question: Question) -> bool:
    """Say whether the factor of a question may come before, or go with, its outcome."""
    return any(
        target.name == question.outcome
        and any(item.factor == question.factor for item in target.items)
        for target in plan.targets
    )


def _measured(
    design: Design, dates: Sequence[str], question: Question, guard: Guardrails
) -> tuple[OutcomeSearch, Tested]:
    own = _since(design, dates, question.fixed_on)
    target = own.target(question.outcome)
    rules = _rules(own, target, guard, question)
    place = next(at for at, item in enumerate(target.items) if item.factor == question.factor)
    part = prepare(own, target, rules, guard, {})
    if part.rules[place].withheld is not None:
        return part, untested(part, part.rules[place])
    white = part.beside[part.made_from[place]]
    return part, measure(part, white, [place], np.ones(1), np.ones(1))[0]


def _rules(design: Design, target: Target, guard: Guardrails, question: Question) -> list[Rule]:
    known = target.known
    withheld = None
    if known.sum() < guard.fewest_days_to_rank and design.unit == "day":
        have = float(known.sum())
        short = question.fixed_on is not None and len(known) < guard.fewest_days_to_rank
        since = " since it was fixed" if short else " on which the outcome is known"
        withheld = Withheld(f"too few {design.unit}s{since}", have, guard.fewest_days_to_rank)
    elif (tied := share_tied(target.values[known])) > guard.largest_share_tied:
        reason = "more than half the values are the same"
        withheld = Withheld(reason, tied, guard.largest_share_tied)
    return singles(design, target, guard, withheld)


def _since(design: Design, dates: Sequence[str], fixed_on: str | None) -> Design:
    if fixed_on is None:
        return design
    later = np.array([day > fixed_on for day in dates], dtype=bool)
    targets = tuple(
        replace(
            target,
            values=target.values[later],
            by_clock=target.by_clock[later],
            high=target.high[later],
            items=tuple(replace(item, values=item.values[later]) for item in target.items),
        )
        for target in design.targets
    )
    names = tuple(name for name, keep in zip(design.names, later, strict=True) if keep)
    return replace(
        design,
        names=names,
        times=design.times[later],
        nuisance=design.nuisance[later],
        targets=targets,
    )
