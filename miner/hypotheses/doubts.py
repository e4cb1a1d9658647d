"""Why a rule that passes the claim level may still be no more than a hint."""

from __future__ import annotations

import numpy as np

from miner.hypotheses.tested import OutcomeSearch, Tested
from miner.rulebook import Guardrails
from miner.stats import effects
from miner.stats.projection import orthonormal, residual


def doubts(part: OutcomeSearch, test: Tested, guard: Guardrails) -> tuple[str, ...]:
    """Return why a rule that passes the claim level is a hint all the same; empty if it is not."""
    found = (
        _order_only(test),
        _one_unit(part, test, guard.shrink_when_one_unit_left_out),
        _confounder(part, test),
        _by_clock(part, test, guard.hint_level),
    )
    return tuple(note for note in found if note is not None)


def _order_only(test: Tested) -> str | None:
    if test.margin > 0 and test.difference * test.score_t > 0:
        return None
    return "It rests on order, not size: a few values carry the difference, or none does."


def _one_unit(part: OutcomeSearch, test: Tested, most: float) -> str | None:
    white = test.white
    if white is None:
        return None
    without = effects.beside(test.column, white.unit_columns(), white.raw, white.rank)
    ratio = without.difference / test.difference
    worst = int(np.nanargmin(ratio))
    if ratio[worst] >= 1 - most:
        return None
    number = int(white.known[worst])
    return f"Without {part.names[number]} less than {1 - most:.0%} of the difference is left."


def _confounder(part: OutcomeSearch, test: Tested) -> str | None:
    white = test.white
    recorded = {name for at in test.rule.items for name in part.target.items[at].rule.confounders}
    chosen = [
        at
        for at, rule in enumerate(part.rules)
        if len(rule.items) == 1
        and part.target.items[rule.items[0]].factor in recorded
        and rule.items[0] not in test.rule.items
        and rule.counts.with_ > 0
        and rule.counts.without > 0
    ]
    if white is None or not chosen:
        return None
    beside = effects.beside(
        test.column, white.cleared(part.columns[:, chosen]), white.raw, white.rank
    )
    ratio = beside.difference / test.difference
    halved = [at for at, share in zip(chosen, ratio, strict=True) if not share >= 0.5]
    if not halved:
        return None
    words = " or ".join(part.target.items[part.rules[at].items[0]].rule.phrase for at in halved)
    return f"Beside {words}, less than half of the difference is left."


def _by_clock(part: OutcomeSearch, test: Tested, level: float) -> str | None:
    white, target = test.white, part.target
    moved = [target.items[at].rule for at in test.rule.items]
    if white is None or not any(target.rule.window in rule.moves_window for rule in moved):
        return None
    fixed = target.by_clock.copy()
    missing = np.isnan(fixed[white.known])
    fixed[np.isnan(fixed)] = 0.0
    outcome = white.outcome(fixed)
    taken = white.unit_columns()[:, missing]
    basis = orthonormal(taken[:, np.square(taken).sum(axis=0) > 1e-12])
    column, outcome = residual(basis, np.column_stack([test.column, outcome])).T
    found = effects.single(column[:, None], outcome, white.rank + basis.shape[1])
    same_way = float(found.difference[0]) * test.difference > 0
    if same_way and float(found.p[0]) <= level:
        return None
    return "It does not hold when the outcome is read at fixed clock times."
