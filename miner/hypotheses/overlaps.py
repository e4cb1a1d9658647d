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
    worst = int(order[0])
    if phi[worst] < guard.overlap_not_told_apart or len(test.rule.items) > 1:
        return Overlap(travels, None, None)
    apart, of = differing(test.rule.values[known], columns[:, worst])
    unit = part.target.rule.unit
    words = part.target.items[others[worst].items[0]].rule.phrase
    return Overlap(
        travels,
        Withheld(f"cannot be told apart from {words}", apart, guard.fewest_units_each_side),
        f"They differed on {apart} of {of} {unit}s. "
        f"More {unit}s with one and not the other would separate them.",
    )
