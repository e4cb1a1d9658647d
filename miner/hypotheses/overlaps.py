"""Which factors of one outcome came on much the same units."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from miner.hypotheses.search import OutcomeSearch, Tested
from miner.results import Withheld
from miner.rulebook import Guardrails
from miner.stats.overlap import differing, phi_matrix


@dataclass(frozen=True, slots=True)
class Overlap:
    """Factors that came along with a rule, and the one it cannot be told apart from."""

    travels_with: tuple[str, ...]
    withheld: Withheld | None
    note: str | None


def overlap(part: OutcomeSearch, test: Tested, guard: Guardrails) -> Overlap:
    """Compare one rule with every other single factor that has enough units."""
    known = test.target.known
    others = [
        rule
        for rule in part.rules
        if len(rule.items) == 1 and rule.withheld is None and rule.items[0] not in test.rule.items
    ]
    if not others:
        return Overlap((), None, None)
    columns = np.column_stack([rule.values[known] for rule in others])
    phi = np.abs(phi_matrix(test.rule.values[known][:, None], columns)[0])
    phi = np.nan_to_num(phi)
    names = [test.target.items[rule.items[0]].factor for rule in others]
    order = np.argsort(-phi, kind="stable")
    travels = tuple(names[at] for at in order if phi[at] >= guard.overlap_travels_with)
    if len(test.rule.items) > 1:
        return Overlap(travels, None, None)
    own = test.target.items[test.rule.items[0]].factor
    yielding = None
    for at in order[phi[order] >= guard.overlap_not_told_apart]:
        other = part.target.items[others[at].items[0]]
        apart, of = differing(test.rule.values[known], columns[:, at])
        unit = part.target.rule.unit
        note = (
            f"It and {other.rule.phrase} differed on {apart} of {of} {unit}s: the two cannot be "
            f"told apart. More {unit}s with one and not the other would separate them."
        )
        if own in other.rule.yields_to:
            yielding = yielding or note
            continue
        reason = f"cannot be told apart from {other.rule.phrase}"
        return Overlap(travels, Withheld(reason, apart, guard.fewest_units_each_side), note)
    return Overlap(travels, None, yielding)
