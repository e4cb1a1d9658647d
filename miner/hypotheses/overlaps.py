"""Which factors of one outcome came on much the same units."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from miner.hypotheses.tested import OutcomeSearch, Tested
from miner.results import Withheld
from miner.rulebook import Guardrails
from miner.stats.overlap import differing, phi_matrix

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Overlap:
    """Factors that came along with a rule, and the one it cannot be told apart from."""

    travels_with: tuple[str, ...]
    withheld: Withheld | None
    note: str | None


@dataclass(frozen=True, slots=True)
class Companions:
    """The single factors of one outcome that have enough units, and how they overlap.

    Attributes:
        items: which of the outcome's items these k are.
        values: shape (known units, k).
        phi: shape (k, k), size of the correlation, 0 where it is unknown.
    """

    items: tuple[int, ...]
    values: Floats
    phi: Floats


def companions(part: OutcomeSearch) -> Companions:
    """Compare every single factor that has enough units with every other one."""
    open_rules = [rule for rule in part.rules if len(rule.items) == 1 and rule.withheld is None]
    if not open_rules:
        return Companions((), np.empty((0, 0)), np.empty((0, 0)))
    values = np.column_stack([rule.values for rule in open_rules])[part.target.known]
    phi = np.nan_to_num(np.abs(phi_matrix(values, values)))
    return Companions(tuple(rule.items[0] for rule in open_rules), values, phi)


def overlap(part: OutcomeSearch, along: Companions, test: Tested, guard: Guardrails) -> Overlap:
    """Return what came along with one rule, and what it cannot be told apart from.

    A rule of two or three cannot be told apart where it, or one of its factors, cannot.
    """
    own = test.rule.items
    others = [at for at, item in enumerate(along.items) if item not in own]
    if not others:
        return Overlap((), None, None)
    columns = test.rule.values[:, None]
    if len(own) > 1:
        columns = np.column_stack([columns, *(part.target.items[at].values for at in own)])
    columns = columns[test.target.known]
    if len(own) == 1 and own[0] in along.items:
        phi = along.phi[along.items.index(own[0]), others][None]
    else:
        phi = np.nan_to_num(np.abs(phi_matrix(columns, along.values[:, others])))
    names = [part.target.items[along.items[at]].factor for at in others]
    order = np.argsort(-phi[0], kind="stable")
    travels = tuple(names[at] for at in order if phi[0, at] >= guard.overlap_travels_with)
    nearest, which = phi.max(axis=0), phi.argmax(axis=0)
    close = {
        others[at]: columns[:, which[at]]
        for at in np.argsort(-nearest, kind="stable")
        if nearest[at] >= guard.overlap_not_told_apart
    }
    return _not_told_apart(part, along, test, guard, travels, close)


def _not_told_apart(
    part: OutcomeSearch,
    along: Companions,
    test: Tested,
    guard: Guardrails,
    travels: tuple[str, ...],
    close: dict[int, Floats],
) -> Overlap:
    own = {part.target.items[item].factor for item in test.rule.items}
    yielding = None
    for at, column in close.items():
        other = part.target.items[along.items[at]]
        apart, of = differing(column, along.values[:, at])
        unit = part.target.rule.unit
        separate = f"More {unit}s with one and not the other would separate them."
        if own & set(other.rule.yields_to):
            yielding = yielding or (
                f"It stands for {other.rule.phrase} too, which differed from it on {apart} of {of} "
                f"{unit}s. {separate}"
            )
            continue
        note = (
            f"It and {other.rule.phrase} differed on {apart} of {of} {unit}s: the two cannot be "
            f"told apart. {separate}"
        )
        reason = f"cannot be told apart from {other.rule.phrase}"
        return Overlap(travels, Withheld(reason, apart, guard.fewest_units_each_side), note)
    return Overlap(travels, None, yielding)
