"""The usual ways, on the same diaries: lists by lift, Fisher's test, free permutation."""

from __future__ import annotations

import numpy as np
from scipy.stats import false_discovery_control, hypergeom

from miner.hypotheses.search import Search
from miner.stats.effects import orthonormal
from miner.stats.maxt import Block, judge


def rivals(found: Search, orders: np.ndarray) -> dict[str, bool]:
    """Say of each usual way whether it would claim anything on this diary.

    Args:
        found: the search; its rules and counts are used, its judgement is not.
        orders: shape (B, N), shuffles for the free permutation.
    """
    counts = [
        rule.counts for part in found.outcomes for rule in part.rules if rule.withheld is None
    ]
    lift = any(item.lift is not None and item.lift >= 1.5 for item in counts)
    p = _fisher(counts)
    blocks = [
        block for part in found.outcomes if part.tested() and (block := _raw(part)) is not None
    ]
    free = bool(blocks) and bool((judge(blocks, orders).step_down <= 0.05).any())
    return {
        "list by lift >= 1.5": lift,
        "Fisher p <= 0.05": bool((p <= 0.05).any()),
        "Benjamini-Hochberg": bool((false_discovery_control(p) <= 0.05).any()),
        "free permutation": free,
    }


def _fisher(counts) -> np.ndarray:  # type: ignore[no-untyped-def]
    """One-sided: as many high units with the factor, or more."""
    if not counts:
        return np.ones(0)
    with_high = np.array([item.with_high for item in counts])
    with_ = np.array([item.with_ for item in counts])
    known = np.array([item.known for item in counts])
    high = np.array([item.high for item in counts])
    return hypergeom.sf(with_high - 1, known, high, with_)


def _raw(part) -> Block | None:  # type: ignore[no-untyped-def]
    known = part.target.known
    outcome = part.target.values[known]
    values = np.column_stack([part.rules[at].values for at in part.tested()])[known]
    centre = np.nanmean(values, axis=0)
    rules = np.where(np.isnan(values), 0.0, values - centre)
    basis = orthonormal(np.ones((len(outcome), 1)))
    rules -= basis @ (basis.T @ rules)
    return Block(rules, outcome - outcome.mean(), basis, np.flatnonzero(known))
