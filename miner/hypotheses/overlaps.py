"""Which factors of one outcome came on much the same units."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from miner.core.messages import Message, message
from miner.core.results import Withheld
from miner.hypotheses.tested import OutcomeSearch, Tested
from miner.rulebook import Guardrails
from miner.stats.effects import correlations, differing

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Overlap:
    """Factors that came along with a rule, and the one it cannot be told apart from."""

    travels_with: tuple[str, ...]
    withheld: Withheld | None
    note: Message | None


@dataclass(frozen=True, slots=True)
class Companions:
    """Every cut and dose of one outcome that has enough units.

    Attributes:
        rules: which of the outcome's rules these k are.
        items: which of its items each is.
        values: shape (known units, k).
    """

    rules: tuple[int, ...]
    items: tuple[int, ...]
    values: Floats


def companions(part: OutcomeSearch) -> Companions:
    """Collect every single factor that has enough units, as a cut and as a dose."""
    chosen = part.tested(sets=False)
    values = [part.rules[at].values for at in chosen]
    known = part.target.known
    stacked = np.column_stack(values)[known] if values else np.empty((int(known.sum()), 0))
    return Companions(tuple(chosen), tuple(part.rules[at].items[0] for at in chosen), stacked)


def overlap(part: OutcomeSearch, along: Companions, test: Tested, guard: Guardrails) -> Overlap:
    """Return what came along with one rule, and what it cannot be told apart from.

    A rule is held against the cut and the dose of every other habit. A rule of two or three cannot
    be told apart where it, or one of its factors, cannot.
    """
    own = test.rule.items
    others = [at for at, item in enumerate(along.items) if item not in own]
    if not others:
        return Overlap((), None, None)
    columns = test.rule.values[test.target.known][:, None]
    if len(own) > 1:
        parts = [at for at, item in enumerate(along.items) if item in own]
        columns = np.column_stack([columns, along.values[:, parts]])
    phi = np.nan_to_num(np.abs(correlations(columns, along.values[:, others])))
    names = [part.target.items[along.items[at]].factor for at in others]
    order = np.argsort(-phi[0], kind="stable")
    travels = [names[at] for at in order if phi[0, at] >= guard.overlap_travels_with]
    nearest, which = phi.max(axis=0), phi.argmax(axis=0)
    close = {
        others[at]: columns[:, which[at]]
        for at in np.argsort(-nearest, kind="stable")
        if nearest[at] >= guard.overlap_not_told_apart
    }
    return _not_told_apart(part, along, test, guard, tuple(dict.fromkeys(travels)), close)


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
        unit = part.target.rule.unit
        both_cut = _is_cut(column) and _is_cut(along.values[:, at])
        apart, of = differing(column, along.values[:, at])
        facts = {
            "factor": other.factor, "other": other.rule.phrase, "unit": unit, "apart": apart,
            "of": of,
        }  # fmt: skip
        if own & set(other.rule.yields_to):
            kind = "stands_for_counted" if both_cut else "stands_for"
            yielding = yielding or message(f"hypotheses.{kind}", **facts)
            continue
        kind = "differed_little" if both_cut else "rose_and_fell"
        reason = message("hypotheses.not_told_apart", **facts)
        have, need = (apart, guard.fewest_units_each_side) if both_cut else (None, None)
        return Overlap(
            travels, Withheld(reason, have, need), message(f"hypotheses.{kind}", **facts)
        )
    return Overlap(travels, None, yielding)


def _is_cut(column: Floats) -> bool:
    known = column[~np.isnan(column)]
    return bool(np.isin(known, (0.0, 1.0)).all())
