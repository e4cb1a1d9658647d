"""Questions fixed before the records: each is tested alone, on the days after it was fixed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from miner.core.messages import Message, message
from miner.core.results import Doubt, DoubtCode, Evidence, Withheld
from miner.hypotheses.candidates import doses, singles
from miner.hypotheses.guard import Judged, Levels, judge_one
from miner.hypotheses.tested import Tested, measure, prepare
from miner.stats.effects import t_quantile
from miner.stats.maxt import critical_t, largest, quantile, shuffles, signed_z, tail
from miner.stats.multiplicity import holm, holm_levels
from miner.stats.scores import share_tied

if TYPE_CHECKING:
    from miner.hypotheses.design import Design, Question, Run, Target

Floats = NDArray[np.float64]

LOOKED = message("hypotheses.looked_before")
LOOKS_LOST = message("hypotheses.looks_lost")
DEFINED_OTHERWISE = message("hypotheses.defined_otherwise")
REWORDED = message("hypotheses.reworded")


@dataclass(frozen=True, slots=True)
class _Asked:
    """One question with the shapes in which it is tested, none where it cannot be.

    Attributes:
        way: 1 or -1 where a guess looks one way only; else 0.
        maxima: sorted, the largest z of both shapes in every shuffle; empty for one shape.
    """

    closed: Tested
    shapes: tuple[Tested, ...]
    way: int
    maxima: Floats

    @property
    def best(self) -> Tested:
        """The stronger shape, by which the question is judged."""
        return max(self.shapes, key=self._strength)

    def speaking(self, level: float) -> Tested:
        """Return the shape to report at a level: if several pass, one whose raw size passes too."""
        critical = self.critical(level)
        tests = [replace(test, critical=critical) for test in self.shapes]
        passing = [test for test in tests if self._strength(test) > critical and test.holds]
        return max(passing or tests, key=self._strength)

    def _strength(self, test: Tested) -> float:
        return self.way * test.score_t if self.way else abs(test.score_t)

    def p(self, way: int) -> float:
        """Return the p of the question, one-sided in a way of 1 or -1."""
        best = self.best
        if len(self.shapes) == 1:
            t = way * best.score_t if way else abs(best.score_t)
            return float(stdtr(best.df, -t)) * (1 if way else 2)
        z = signed_z(best.score_t, best.df)
        return tail(self.maxima, way * z if way else abs(z))

    def critical(self, level: float) -> float:
        """Return the |t| beyond which the question passes at a level."""
        df = self.best.df
        if len(self.shapes) == 1:
            return t_quantile(1 - level / (1 if self.way else 2), df)
        return float(critical_t(np.array([quantile(self.maxima, level)]), df)[0])


def answer(
    design: Design, questions: Sequence[Question], run: Run, share: float = 1.0
) -> list[tuple[Question, Judged]]:
    """Test each question alone on its own days; Holm over those that can be tested.

    A habit that has a dose is tested as both, by the permutation of the larger of the two, unless
    the question names a shape. A guess makes it one-sided.

    Args:
        design: all usable units.
        questions: at least one; factor and outcome must meet in the design.
        run: its draws are always the rule book's.
        share: part of the claim level that these have, questions by the other unit the rest.
    """
    guard, dates = design.guard, design.dates
    entries = [_asked(_since(design, dates, question), question, run) for question in questions]
    p = np.array([entry.p(entry.way) for entry in entries if entry.shapes])
    adjusted = np.minimum(1.0, holm(p) / share)
    levels = holm_levels(p, share * guard.claim_level)
    steps = zip(p, adjusted, levels, strict=True)
    out = []
    for question, entry in zip(questions, entries, strict=True):
        test = entry.closed
        if entry.shapes:
            own, p_adjusted, level = next(steps)
            test = replace(entry.speaking(float(level)), p=float(own), p_adjusted=float(p_adjusted))
        # Of a guess all p are one-sided; what must hold points its way already.
        level = guard.hint_level * (2 if entry.way else 1)
        judged = judge_one(test, Levels(level, level))
        if entry.shapes and entry.way and entry.p(-entry.way) <= guard.hint_level:
            judged = replace(judged, doubts=(*judged.doubts, Doubt(DoubtCode.OTHER_WAY)))
        out.append((question, a_hint_at_most(judged, question.doubt)))
    return out


def a_hint_at_most(judged: Judged, doubt: Message | None) -> Judged:
    """Return an answer, which a doubt makes a hint at most. The doubt is added to its notes."""
    if doubt is None:
        return judged
    level = Evidence.HINT if judged.evidence is Evidence.CLEAR else judged.evidence
    return replace(judged, evidence=level, notes=(*judged.notes, doubt))


def meets(plan: Design, question: Question) -> bool:
    """Say whether the factor of a question may come before, or go with, its outcome."""
    return (question.factor, question.outcome) in {
        (item.factor, target.name) for target in plan.targets for item in target.items
    }


def _asked(own: Design, question: Question, run: Run) -> _Asked:
    target = own.target(question.outcome)
    closed_for_all = _outcome_closed(own, target, question)
    cuts = singles(own, target, closed_for_all)
    lines = [] if closed_for_all else doses(own, target, cuts)
    place = next(at for at, item in enumerate(target.items) if item.factor == question.factor)
    part = prepare(own, target, [*cuts, *lines], run.spectra)
    way = {"up": 1, "down": -1}.get(question.guess or "", 0)
    chosen = [
        at
        for at, rule in enumerate(part.rules)
        if rule.items == (place,)
        and rule.withheld is None
        and question.shape in (None, str(rule.shape))
    ]
    closed = part.rules[place]
    if not chosen:
        none = Withheld(message("hypotheses.no_dose"))
        closed = replace(closed, withheld=closed.withheld or none)
        return _Asked(Tested(part, closed), (), way, np.empty(0))
    white = part.beside[part.made_from[place]]
    ones = np.ones(len(chosen))
    tests = tuple(measure(part, white, chosen, ones, ones))
    maxima = np.empty(0)
    if len(tests) > 1:
        block = white.block(white.cleared(part.columns[:, chosen]))
        orders = shuffles(len(own.times), own.guard.draws, run.seed)
        maxima = largest(block, orders, way)
    return _Asked(Tested(part, closed), tests, way, maxima)


def _outcome_closed(design: Design, target: Target, question: Question) -> Withheld | None:
    known, guard = target.known, design.guard
    if known.sum() < guard.fewest_days_to_rank and design.unit == "day":
        have = float(known.sum())
        short = question.fixed_on is not None and len(known) < guard.fewest_days_to_rank
        kind = "too_few_since_fixed" if short else "too_few_with_outcome"
        reason = message(f"hypotheses.{kind}", unit=design.unit)
        return Withheld(reason, have, guard.fewest_days_to_rank)
    if (tied := share_tied(target.values[known])) > guard.largest_share_tied:
        return Withheld(message("hypotheses.mostly_same"), tied, guard.largest_share_tied)
    return None


def _since(design: Design, dates: Sequence[str], question: Question) -> Design:
    fixed_on = question.fixed_on
    if fixed_on is None:
        return design
    later = np.array([day > fixed_on and day not in question.seen for day in dates], dtype=bool)
    return replace(
        design,
        names=tuple(name for name, keep in zip(design.names, later, strict=True) if keep),
        times=design.times[later],
        nuisance=design.nuisance[later],
        targets=tuple(target.among(later) for target in design.targets),
    )
