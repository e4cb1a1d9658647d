"""Questions fixed before the records: each is tested alone, on the days after it was fixed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from miner.core.messages import message
from miner.core.results import Doubt, DoubtCode, Evidence, Withheld
from miner.hypotheses.candidates import doses, singles
from miner.hypotheses.guard import Levels, companions, judge_one
from miner.hypotheses.tested import measure, prepare, untested
from miner.stats.effects import t_quantile
from miner.stats.maxt import critical_t, largest, quantile, shuffles, signed_z, tail
from miner.stats.multiplicity import holm, holm_levels
from miner.stats.scores import share_tied

if TYPE_CHECKING:
    from miner.core.messages import Message
    from miner.hypotheses.design import Design, Question, Target
    from miner.hypotheses.guard import Judged
    from miner.hypotheses.tested import OutcomeSearch, Spectra, Tested
    from miner.rulebook import Guardrails

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

    part: OutcomeSearch
    closed: Tested
    shapes: tuple[Tested, ...]
    way: int
    maxima: Floats

    @property
    def best(self) -> Tested:
        """The stronger shape, by which the question is judged."""
        return max(self.shapes, key=self._strength)

    def speaking(self, level: float) -> Tested:
        """Return the shape that speaks at a level: of those that pass, one whose size holds."""
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
    design: Design,
    dates: Sequence[str],
    questions: Sequence[Question],
    guard: Guardrails,
    *,
    share: float = 1.0,
    seed: int = 0,
    spectra: Spectra | None = None,
) -> list[tuple[Question, Judged]]:
    """Test each question alone on its own days; Holm over those that can be tested.

    A habit that has a dose is tested as both, by the permutation of the larger of the two, unless
    the question names a shape. A guess makes it one-sided.

    Args:
        design: all usable units.
        dates: ISO date of each unit of the design.
        questions: at least one; factor and outcome must meet in the design.
        guard: the guardrails.
        share: part of the claim level that these have, questions by the other unit the rest.
        seed: of the permutations.
        spectra: decompositions to share between calls on the same days.
    """
    cache: Spectra = {} if spectra is None else spectra
    entries = [_asked(design, dates, question, guard, seed, cache) for question in questions]
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
        held = Levels(level, level)
        judged = judge_one(entry.part, companions(entry.part), test, guard, held)
        if entry.shapes and entry.way and entry.p(-entry.way) <= guard.hint_level:
            judged = replace(judged, doubts=(*judged.doubts, Doubt(DoubtCode.OTHER_WAY)))
        out.append((question, a_hint_at_most(judged, question.doubt)))
    return out


def a_hint_at_most(judged: Judged, doubt: Message | None) -> Judged:
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


def _asked(
    design: Design,
    dates: Sequence[str],
    question: Question,
    guard: Guardrails,
    seed: int,
    spectra: Spectra,
) -> _Asked:
    own = _since(design, dates, question)
    target = own.target(question.outcome)
    closed_for_all = _outcome_closed(own, target, guard, question)
    cuts = singles(own, target, guard, closed_for_all)
    lines = [] if closed_for_all else doses(own, target, guard, cuts)
    place = next(at for at, item in enumerate(target.items) if item.factor == question.factor)
    part = prepare(own, target, [*cuts, *lines], guard, spectra)
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
        return _Asked(part, untested(part, closed), (), way, np.empty(0))
    white = part.beside[part.made_from[place]]
    ones = np.ones(len(chosen))
    tests = tuple(measure(part, white, chosen, ones, ones))
    maxima = np.empty(0)
    if len(tests) > 1:
        block = white.block(white.cleared(part.columns[:, chosen]))
        orders = shuffles(len(own.times), guard.draws, seed)
        maxima = largest(block, orders, way)
    return _Asked(part, untested(part, closed), tests, way, maxima)


def _outcome_closed(
    design: Design, target: Target, guard: Guardrails, question: Question
) -> Withheld | None:
    known = target.known
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
    targets = tuple(
        replace(
            target,
            values=target.values[later],
            by_clock=target.by_clock[later],
            high=target.high[later],
            items=tuple(item.among(later) for item in target.items),
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
