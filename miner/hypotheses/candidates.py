"""The rules that are tested for one outcome, and why the others are not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import ceil
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from miner.core.messages import message
from miner.core.results import Counts, Shape, Withheld
from miner.stats.scores import combine, frequent_itemsets, normal_scores, share_tied

if TYPE_CHECKING:
    from miner.hypotheses.design import Design, Target
    from miner.rulebook import Guardrails

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule for one outcome.

    Attributes:
        items: positions among the target's items.
        values: shape (n,) over the usable units, NaN unknown: 1 or 0; of a dose its normal scores.
        counts: with and without the habit, of a dose those of its cut.
        withheld: why it is not tested, or None.
        amounts: of a dose, shape (n,), in multiples of what its slope is for; else None.
        span: how far the client's own quarters of a dose are apart, in its amounts; 1 of a cut.
    """

    items: tuple[int, ...]
    values: Floats
    counts: Counts
    withheld: Withheld | None
    amounts: Floats | None = None
    span: float = 1.0

    @property
    def shape(self) -> Shape:
        """Whether a line is drawn through the measure, or it is what is measured."""
        return Shape.CUT if self.amounts is None else Shape.DOSE


def candidates(design: Design, target: Target) -> list[Rule]:
    """Return every single factor as a cut, the doses, then the sets that have enough units."""
    withheld = unrankable(target, design.guard)
    alone = singles(design, target, withheld)
    if withheld is not None:
        return alone
    return alone + doses(design, target, alone) + _sets(design, target, alone)


def unrankable(target: Target, guard: Guardrails) -> Withheld | None:
    """Return why no rule of an outcome can be ranked, or None."""
    values = target.values[target.known]
    tied = share_tied(values)
    same = bool(len(values)) and bool(np.ptp(values) == 0)
    need = 2 * guard.fewest_units_each_side
    if (same or tied > guard.largest_share_tied) and len(values) < need:
        few = message("hypotheses.too_few_known", unit=target.rule.unit)
        return Withheld(few, len(values), need)
    if tied > guard.largest_share_tied:
        return Withheld(message("hypotheses.mostly_same"), tied, guard.largest_share_tied)
    return Withheld(message("hypotheses.never_changed")) if same else None


def singles(design: Design, target: Target, withheld: Withheld | None = None) -> list[Rule]:
    """Return the rule of every item of an outcome; ``withheld`` closes them all."""
    if not target.items:
        return []
    values = np.column_stack([item.values for item in target.items])
    counted = zip(count(values, target), too_few(values, target, design), strict=True)
    return [
        Rule((at,), values[:, at], counts, withheld or reason)
        for at, (counts, reason) in enumerate(counted)
    ]


def doses(design: Design, target: Target, cuts: Sequence[Rule]) -> list[Rule]:
    """Return the dose of every item that has one known often enough, and different enough.

    A dose needs as many units as both sides of a cut, five different amounts, and at most half of
    them equal, so a walk on one day in ten is not a dose. The client's quarters must differ.
    """
    found, guard = [], design.guard
    fewest = 2 * _least(int(target.known.sum()), design)
    for at, item in enumerate(target.items):
        if item.dose is None:
            continue
        known = target.known & ~np.isnan(item.dose)
        days = len(np.unique(design.times[known])) if design.unit != "day" else int(known.sum())
        if known.sum() < fewest or days < 2 * guard.fewest_distinct_days_each_side:
            continue
        different, tied, span, scores = _measured(item.dose[known].tobytes())
        if (
            different >= guard.fewest_units_each_side
            and tied <= guard.largest_share_tied
            and span > 0
        ):
            values, own = np.full(len(known), np.nan), np.where(known, item.dose, np.nan)
            values[known] = scores
            found.append(Rule((at,), values, cuts[at].counts, None, own, span))
    return found


@lru_cache(maxsize=256)
def _measured(packed: bytes) -> tuple[int, float, float, Floats]:
    """Return how many amounts differ, the share tied, how far quarters are apart, normal scores.

    Once for all outcomes that are known on the same units.
    """
    amounts = np.frombuffer(packed)
    low, high = np.quantile(amounts, (0.25, 0.75))
    different = len(np.unique(amounts))
    return different, share_tied(amounts), float(high - low), normal_scores(amounts)


def _sets(design: Design, target: Target, alone: list[Rule]) -> list[Rule]:
    known, guard = target.known, design.guard
    open_items = [at for at, rule in enumerate(alone) if rule.withheld is None]
    units = int(known.sum())
    largest = guard.largest_rule
    if units < guard.units_for_rules_of_three:
        largest = min(2, largest)
    if largest < 2 or len(open_items) < 2:
        return []
    columns = np.column_stack([alone[at].values for at in open_items])
    found = frequent_itemsets(columns[known] == 1, largest, _least(units, design))
    seen, rules = set(_keys(columns, known)), []
    for size in range(2, largest + 1):
        sets = np.array([itemset for itemset in found if len(itemset) == size], dtype=np.intp)
        if not len(sets):
            continue
        values = combine([columns[:, sets[:, place]] for place in range(size)])
        counts = count(values, target)
        reasons = too_few(values, target, design)
        keys = _keys(values, known)
        for at in np.flatnonzero([reason is None for reason in reasons]):
            if keys[at] not in seen:
                seen.add(keys[at])
                items = tuple(open_items[place] for place in sets[at])
                rules.append(Rule(items, values[:, at], counts[at], None))
    return rules


def count(values: Floats, target: Target) -> list[Counts]:
    """Count the outcome's known units with, without and unknown, and the high ones of each.

    Args:
        values: shape (n, m), a rule a column.
        target: the outcome.
    """
    part = values[target.known]
    high = (target.high[target.known] == 1)[:, None]
    with_, without = part == 1, part == 0
    numbers = np.stack(
        [
            with_.sum(axis=0),
            (with_ & high).sum(axis=0),
            without.sum(axis=0),
            (without & high).sum(axis=0),
            np.isnan(part).sum(axis=0),
        ],
        axis=1,
    )
    return [Counts(*row) for row in numbers.tolist()]


def too_few(values: Floats, target: Target, design: Design) -> list[Withheld | None]:
    """Return, for each rule (a column of (n, m)), why it has too few units, or None."""
    part, times = values[target.known], design.times[target.known]
    need = _least(len(part), design)
    need_days = design.guard.fewest_distinct_days_each_side
    out: list[Withheld | None] = [None] * values.shape[1]
    for side, words in ((0, "without"), (1, "with")):
        chosen = part == side
        have = chosen.sum(axis=0)
        days = have if design.unit == "day" else _distinct(chosen, times)
        for at in np.flatnonzero((have < need) | (days < need_days)):
            if have[at] < need:
                reason = message(f"hypotheses.too_few_{words}", unit=design.unit)
                out[at] = Withheld(reason, int(have[at]), need)
            else:
                reason = message(f"hypotheses.too_few_days_{words}")
                out[at] = Withheld(reason, int(days[at]), need_days)
    return out


def _distinct(chosen: NDArray[np.bool_], times: Floats) -> NDArray[np.intp]:
    if not len(times):
        return np.zeros(chosen.shape[1], dtype=np.intp)
    starts = np.flatnonzero(np.concatenate([[True], times[1:] != times[:-1]]))
    days: NDArray[np.intp] = np.logical_or.reduceat(chosen, starts, axis=0).sum(axis=0)
    return days


def _least(units: int, design: Design) -> int:
    guard = design.guard
    share = ceil(guard.fewest_share_each_side * units) if design.unit == "day" else 0
    return max(guard.fewest_units_each_side, share)


def _keys(values: Floats, known: NDArray[np.bool_]) -> list[bytes]:
    """Return, for each rule (a column of (n, m)), what separates its known units."""
    part = values[known]
    codes = np.where(np.isnan(part), 2, part).astype(np.int8)
    return [column.tobytes() for column in np.ascontiguousarray(codes.T)]
