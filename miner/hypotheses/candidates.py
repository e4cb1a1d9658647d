"""The rules that are tested for one outcome, and why the others are not."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from miner.hypotheses.design import Design, Target, combine
from miner.results import Counts, Withheld
from miner.rulebook import Guardrails
from miner.stats.itemsets import frequent_itemsets
from miner.stats.scores import share_tied

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule for one outcome.

    Attributes:
        items: positions among the target's items.
        values: shape (n,), 1, 0 or NaN over the usable units.
        withheld: why it is not tested, or None.
        same_units: factors of rules that hold on exactly the same units.
    """

    items: tuple[int, ...]
    values: Floats
    counts: Counts
    withheld: Withheld | None
    same_units: tuple[str, ...] = ()


def candidates(design: Design, target: Target, guard: Guardrails) -> list[Rule]:
    """Return every single-factor rule, then the rules of two or three that have enough units."""
    known = target.known
    tied = share_tied(target.values[known])
    outcome_withheld = None
    if tied > guard.largest_share_tied:
        outcome_withheld = Withheld(
            "more than half the values are the same", tied, guard.largest_share_tied
        )
    elif known.any() and np.ptp(target.values[known]) == 0:
        outcome_withheld = Withheld("it never changed")
    singles = [
        _single(design, target, at, guard, outcome_withheld) for at in range(len(target.items))
    ]
    if outcome_withheld is not None:
        return singles
    seen = {_key(rule.values, known): rule.items for rule in singles if rule.withheld is None}
    return singles + _sets(design, target, guard, singles, seen)


def _single(
    design: Design, target: Target, at: int, guard: Guardrails, withheld: Withheld | None
) -> Rule:
    values = target.items[at].values
    counts = count(values, target)
    reason = withheld or too_few(values, target, design, guard)
    return Rule((at,), values, counts, reason)


def _sets(
    design: Design,
    target: Target,
    guard: Guardrails,
    singles: list[Rule],
    seen: dict[bytes, tuple[int, ...]],
) -> list[Rule]:
    known = target.known
    open_items = [at for at, rule in enumerate(singles) if rule.withheld is None]
    units = int(known.sum())
    largest = guard.largest_rule if units >= guard.units_for_rules_of_three else 2
    largest = min(largest, guard.largest_rule)
    if largest < 2 or len(open_items) < 2:
        return []
    yes = np.column_stack([target.items[at].values[known] == 1 for at in open_items])
    found = frequent_itemsets(yes, largest, _least(units, design.unit, guard))
    rules = []
    for itemset in found:
        if len(itemset) < 2:
            continue
        items = tuple(open_items[at] for at in itemset)
        values = combine([target.items[at].values for at in items])
        if too_few(values, target, design, guard) is not None:
            continue
        key = _key(values, known)
        if key in seen:
            continue
        seen[key] = items
        rules.append(Rule(items, values, count(values, target), None))
    return rules


def count(values: Floats, target: Target) -> Counts:
    """Count the outcome's known units with, without and unknown, and the high ones of each."""
    known = target.known
    high = target.high == 1
    with_, without = known & (values == 1), known & (values == 0)
    return Counts(
        int(with_.sum()),
        int((with_ & high).sum()),
        int(without.sum()),
        int((without & high).sum()),
        int((known & np.isnan(values)).sum()),
    )


def too_few(values: Floats, target: Target, design: Design, guard: Guardrails) -> Withheld | None:
    """Return why a rule has too few units with or without it, or None."""
    known = target.known
    need = _least(int(known.sum()), design.unit, guard)
    for side, words in ((1, "with"), (0, "without")):
        chosen = known & (values == side)
        have = int(chosen.sum())
        if have < need:
            return Withheld(f"too few {design.unit}s {words} it", have, need)
        days = len(np.unique(design.times[chosen]))
        if days < guard.fewest_distinct_days_each_side:
            return Withheld(
                f"too few different days {words} it", days, guard.fewest_distinct_days_each_side
            )
    return None


def _least(units: int, unit: str, guard: Guardrails) -> int:
    share = ceil(guard.fewest_share_each_side * units) if unit == "day" else 0
    return max(guard.fewest_units_each_side, share)


def _key(values: Floats, known: NDArray[np.bool_]) -> bytes:
    return np.nan_to_num(values[known], nan=2.0).astype(np.int8).tobytes()
