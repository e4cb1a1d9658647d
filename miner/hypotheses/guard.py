"""The allowance for luck: the level of a tested rule, its doubts, and what came along with it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from miner.core.messages import Message, message
from miner.core.results import Doubt, DoubtCode, Evidence, Shape, Withheld
from miner.stats import effects
from miner.stats.effects import (
    correlations,
    differing,
    either,
    orthonormal,
    r_of_t,
    residual,
    robust,
)

if TYPE_CHECKING:
    from miner.hypotheses.tested import Tested, Whitened


Floats = NDArray[np.float64]


def overlap(test: Tested) -> tuple[tuple[str, ...], Withheld | None, Message | None]:
    """Return what came along with one rule, what it cannot be separated from, and a note.

    A rule is compared with the cut and the dose of every other habit. A rule of two or three cannot
    be separated if it, or one of its factors, cannot.
    """
    part, own, guard = test.part, test.rule.items, test.part.design.guard
    items, values = part.companions
    others = [at for at, item in enumerate(items) if item not in own]
    if not others:
        return (), None, None
    columns = test.rule.values[test.target.known][:, None]
    if len(own) > 1:
        columns = np.column_stack([columns, values[:, [item in own for item in items]]])
    phi = np.nan_to_num(np.abs(correlations(columns, values[:, others])))
    names = [part.target.items[items[at]].factor for at in others]
    order = np.argsort(-phi[0], kind="stable")
    travels = [names[at] for at in order if phi[0, at] >= guard.overlap_travels_with]
    nearest, which = phi.max(axis=0), phi.argmax(axis=0)
    close = {
        others[at]: columns[:, which[at]]
        for at in np.argsort(-nearest, kind="stable")
        if nearest[at] >= guard.overlap_not_told_apart
    }
    return tuple(dict.fromkeys(travels)), *_not_told_apart(test, close)


def _not_told_apart(
    test: Tested, close: dict[int, Floats]
) -> tuple[Withheld | None, Message | None]:
    yielding = None
    items, values = test.part.companions
    for at, column in close.items():
        other = test.target.items[items[at]]
        both_cut = _is_cut(column) and _is_cut(values[:, at])
        apart, of = differing(column, values[:, at])
        facts = {
            "factor": other.factor,
            "other": other.rule.phrase,
            "unit": test.target.rule.unit,
            "apart": apart,
            "of": of,
        }
        if set(test.factors) & set(other.rule.yields_to):
            kind = "stands_for_counted" if both_cut else "stands_for"
            yielding = yielding or message(f"hypotheses.{kind}", **facts)
            continue
        kind = "differed_little" if both_cut else "rose_and_fell"
        reason = message("hypotheses.not_told_apart", **facts)
        need = test.part.design.guard.fewest_units_each_side
        withheld = Withheld(reason, apart, need) if both_cut else Withheld(reason)
        return withheld, message(f"hypotheses.{kind}", **facts)
    return None, yielding


def _is_cut(column: Floats) -> bool:
    known = column[~np.isnan(column)]
    return bool(np.isin(known, (0.0, 1.0)).all())


WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
LEAST_LEFT = 0.5
MOSTLY = 0.75
KEEPS_TO_WEEKDAYS = 0.01
CR3, LEAST_LEVEL = 1.0, 0.001
"""With so few degrees of freedom a smaller p is one of the t distribution, not of the days."""


@dataclass(frozen=True, slots=True)
class Levels:
    """What a rule that passes must still hold at.

    Attributes:
        by_clock: where its outcome is read at fixed clock times.
        weekday: within weekdays.
    """

    by_clock: float
    weekday: float


def doubts(test: Tested, levels: Levels) -> tuple[Doubt, ...]:
    """Return why a rule that passes the claim level is only a hint; empty if it is more."""
    white = test.white
    if white is None:
        return ()
    return (
        # the order of the values passes the bound of its step, their size does not
        *([] if test.holds else [Doubt(DoubtCode.ORDER)]),
        *_one_unit(test, white),
        *_confounders(test, white),
        *_clock(test, white, levels.by_clock),
        *_weekday(test, white, levels.weekday),
        *_unequal_spread(test, white),
    )


def _one_unit(test: Tested, white: Whitened) -> list[Doubt]:
    without = effects.beside(test.amounts, white.unit_columns(), white.raw, white.rank)
    left, design = without.difference / test.difference, test.part.design
    worst = int(np.nanargmin(left))
    if left[worst] >= 1 - design.guard.shrink_when_one_unit_left_out:
        return []
    return [Doubt(DoubtCode.ONE_DAY, design.names[int(white.known[worst])], float(left[worst]))]


def _confounders(test: Tested, white: Whitened) -> list[Doubt]:
    recorded = {name for item in test.items for name in item.rule.confounders}
    names = {
        at: test.target.items[rule.items[0]].factor
        for at, rule in enumerate(test.part.rules)
        if len(rule.items) == 1
        and rule.items[0] not in test.rule.items
        and rule.counts.with_ > 0
        and rule.counts.without > 0
    }
    chosen = [at for at, name in names.items() if name in recorded]
    columns = white.cleared(test.part.amounts[:, chosen])
    beside = effects.beside(test.amounts, columns, white.raw, white.rank)
    left = beside.difference / test.difference
    return [
        Doubt(DoubtCode.CONFOUNDER, names[at], _size(share))
        for at, share in zip(chosen, left.tolist(), strict=True)
        if not share >= LEAST_LEFT
    ]


def _clock(test: Tested, white: Whitened, level: float) -> list[Doubt]:
    if not any(test.target.rule.window in item.rule.moves_window for item in test.items):
        return []
    fixed = test.target.by_clock.copy()
    missing = np.isnan(fixed[white.known])
    fixed[np.isnan(fixed)] = 0.0
    outcome = white.outcome(fixed)
    taken = white.unit_columns()[:, missing]
    basis = orthonormal(taken[:, np.square(taken).sum(axis=0) > 1e-12])
    column, outcome = residual(basis, np.column_stack([test.amounts, outcome])).T
    found = effects.single(column[:, None], outcome, white.rank + basis.shape[1])
    left = float(found.difference[0]) / test.difference
    if left > 0 and float(found.p[0]) <= level:
        return []
    return [Doubt(DoubtCode.CLOCK, None, _size(left))]


def _weekday(test: Tested, white: Whitened, level: float) -> list[Doubt]:
    """A regular week can bring the habit and the outcome together, week after week.

    So the rule of a habit that keeps to weekdays must also hold within them.
    """
    if len(np.unique(white.times)) < test.part.design.guard.weekdays_from_days:
        return []
    weekday = (white.times.astype(int) + 3) % 7
    columns = np.zeros((len(test.rule.values), 7))
    columns[white.known] = weekday[:, None] == np.arange(7)
    wider = white.beside(columns)
    column, amounts = wider.cleared(np.column_stack([test.column, test.amounts])).T
    kept = float(column @ column) / float(test.column @ test.column)
    if effects.explained(1 - kept, wider.rank - white.rank, wider.df + 1) > KEEPS_TO_WEEKDAYS:
        return []
    left, p = 0.0, 1.0
    if kept > 1e-8:
        size = effects.single(amounts[:, None], wider.raw, wider.rank).difference
        left = float(size[0]) / test.difference
        p = float(effects.single(column[:, None], wider.scores, wider.rank).p[0])
    if left >= LEAST_LEFT and p <= level:
        return []
    values = test.rule.values[white.known]
    more = values == 1 if test.rule.shape is Shape.CUT else values > 0
    return [Doubt(DoubtCode.WEEKDAY, _mostly_on(weekday[more]), left)]


def _mostly_on(weekday: NDArray[np.intp]) -> str:
    """Return the fewest weekdays that hold most of the units, in the order of the week."""
    counts = np.bincount(weekday, minlength=7)
    order = np.argsort(-counts, kind="stable")
    needed = int(np.searchsorted(np.cumsum(counts[order]), MOSTLY * counts.sum())) + 1
    return " ".join(WEEKDAYS[day] for day in sorted(order[:needed]))


def _unequal_spread(test: Tested, white: Whitened) -> list[Doubt]:
    """A habit, or its dose, on few units or on most, if these units vary more than the others."""
    if not _unbalanced(test):
        return []
    low, high = _allowing_for_spread(test, white)
    found = robust(test.column, white.scores, white.nuisance, white.times, CR3)
    if found.p <= _level(test) and not low <= 0 <= high:
        return []
    share = test.rule.counts.with_ / test.rule.counts.known
    return [Doubt(DoubtCode.UNEQUAL_SPREAD, "with" if share < LEAST_LEFT else "without")]


def interval(test: Tested, found: Iterable[Doubt]) -> tuple[float, float] | None:
    """Return the simultaneous interval that may be shown of a rule, the outcome's own unit.

    The interval of an unbalanced habit allows for units that vary more than the others. If the
    habit and the outcome may share a week, there is none, because an interval would ignore that.
    """
    if any(doubt.code is DoubtCode.WEEKDAY for doubt in found):
        return None
    if test.white is None or not _unbalanced(test):
        return test.interval
    return _allowing_for_spread(test, test.white)


def _allowing_for_spread(test: Tested, white: Whitened) -> tuple[float, float]:
    """Return the wider of two intervals at one level: by one spread of all units, and by CR3."""
    found = robust(test.amounts, white.raw, white.nuisance, white.times, CR3)
    reach = effects.t_quantile(1 - _level(test) / 2, found.df) * found.standard_error
    widest = np.fmax(reach, test.critical * test.standard_error)
    return float(test.difference - widest), float(test.difference + widest)


def _level(test: Tested) -> float:
    """Return the p at which a rule passes its own step, or the smallest p that CR3 gives."""
    own = float(effects.two_sided(np.array([test.critical]), test.df)[0])
    return max(own, LEAST_LEVEL)


def _unbalanced(test: Tested) -> bool:
    least = test.part.design.guard.unbalanced_share
    share = test.rule.counts.with_ / test.rule.counts.known
    return not least <= share <= 1 - least


def _size(value: float) -> float | None:
    return value if np.isfinite(value) else None


MEDICINE = message("hypotheses.medicine")


@dataclass(frozen=True, slots=True)
class Judged:
    """A tested rule with its level, and why it is not a higher one."""

    test: Tested
    evidence: Evidence
    withheld: Withheld | None = None
    notes: tuple[Message, ...] = ()
    travels_with: tuple[str, ...] = ()
    doubts: tuple[Doubt, ...] = ()


def judge_all(
    tests: Sequence[Tested], shapes: Mapping[tuple[str, str], str] | None = None
) -> list[Judged]:
    """Return every single-factor rule with its level, and the sets that may be claimed.

    A set is kept only if it passes the claim level and still adds something to each of its parts.

    Args:
        tests: of all rules of all outcomes.
        shapes: (factor, outcome) -> the one shape that was asked for; by default the stronger one.
    """
    out: list[Judged] = []
    if not tests:
        return out
    guard = tests[0].part.design.guard
    passing = [test for test in tests if test.p_adjusted <= guard.claim_level]
    levels = Levels(guard.hint_level, guard.weekday_level_searched)
    for test in better_shapes(tests, shapes or {}, guard.claim_level):
        if len(test.rule.items) == 1:
            out.append(judge_one(test, levels))
        elif test.p_adjusted <= guard.claim_level and adds_something(
            test, guard.claim_level / len(passing)
        ):
            judged = judge_one(test, levels)
            if judged.evidence in (Evidence.CLEAR, Evidence.HINT):
                out.append(judged)
    return out


def _beside_medicine(told: Judged) -> Judged:
    """Return the level for a client whose medicine acts on glucose and whose doses are not known.

    Such a client eats by the dose, and eats to treat a low, so food and the glucose after it may
    both follow a dose. Nothing about food is clear then, and all else has a note about the doses.
    """
    if told.evidence not in (Evidence.CLEAR, Evidence.HINT):
        return told
    food = any(item.rule.food or item.rule.about == "meals" for item in told.test.items)
    if food and told.evidence is Evidence.CLEAR:
        doubts = (*told.doubts, Doubt(DoubtCode.MEDICINE))
        return replace(told, evidence=Evidence.HINT, doubts=doubts)
    return replace(told, notes=(*told.notes, MEDICINE))


def better_shapes(
    tests: Sequence[Tested], shapes: Mapping[tuple[str, str], str], level: float
) -> list[Tested]:
    """Return one test for each rule: the stronger of its cut and its dose.

    Its unadjusted p is then that of the better of two. Both were adjusted in their family.
    """
    found: dict[tuple[tuple[str, ...], str], list[Tested]] = {}
    for test in tests:
        found.setdefault((test.factors, test.target.name), []).append(test)
    out = []
    for (factors, outcome), own in found.items():
        wanted = shapes.get((factors[0], outcome)) if len(factors) == 1 else None
        named = [test for test in own if test.rule.shape == wanted]
        out.append(better(named or own, level))
    return out


def better(shapes: Sequence[Tested], level: float) -> Tested:
    """Return the shape of one habit to report, with the p of the better of two.

    A shape that passes the level by its scores and by its raw size comes first, then the stronger
    one. Both are in one family, so the adjusted p allows for the choice.
    """
    tested = [test for test in shapes if test.rule.withheld is None]
    if len(tested) < 2:
        return (tested or list(shapes))[0]
    best = min(tested, key=lambda test: (not (test.p_adjusted <= level and test.holds), test.p))
    limit = max(r_of_t(test.score_t, test.df) for test in tested)
    return replace(best, p=either(limit, limit, correlation(*tested), best.df))


def correlation(one: Tested, other: Tested) -> float:
    """Return the correlation of two rules of one outcome, with the same nuisance."""
    size = np.linalg.norm(one.column) * np.linalg.norm(other.column)
    return float(one.column @ other.column / size)


def judge_one(test: Tested, levels: Levels) -> Judged:
    """Return the first level that fits one rule, in the order of docs/how-it-decides.md."""
    told = _judged(test, levels)
    return _beside_medicine(told) if test.part.design.table.medicine else told


def _judged(test: Tested, levels: Levels) -> Judged:
    if test.rule.withheld is not None:
        return Judged(test, Evidence.CANNOT_TELL, test.rule.withheld)
    guard = test.part.design.guard
    travels, withheld, note = overlap(test)
    told = Judged(test, Evidence.CANNOT_TELL, withheld, (note,) if note else (), travels)
    if withheld is not None:
        return told
    if test.p_adjusted <= guard.claim_level:
        found = doubts(test, levels)
        return replace(told, evidence=Evidence.HINT if found else Evidence.CLEAR, doubts=found)
    low, high = ordinary_interval(test, 0.90)
    if -test.worth < low and high < test.worth:
        return replace(told, evidence=Evidence.LITTLE_SIGN)
    if test.p <= guard.hint_level and abs(test.difference) >= test.worth:
        return replace(told, evidence=Evidence.HINT)
    return told


def ordinary_interval(test: Tested, level: float) -> tuple[float, float]:
    """Return the interval of one rule as if it had been the only one tested."""
    reach = effects.t_quantile(0.5 + level / 2, test.df) * test.standard_error
    return test.difference - reach, test.difference + reach


def adds_something(test: Tested, level: float) -> bool:
    """Say whether a set still shows something next to each of the smaller rules it contains."""
    white, part = test.white, test.part
    if white is None:
        return False
    own = set(test.rule.items)
    smaller = [
        at for at, rule in enumerate(part.rules) if set(rule.items) < own and rule.withheld is None
    ]
    beside = effects.beside(
        test.column, white.cleared(part.columns[:, smaller]), white.scores, white.rank
    )
    return bool(np.all(effects.two_sided(beside.t, beside.df) <= level))
