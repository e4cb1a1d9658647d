"""Normal scores: the outcome on a scale where one wild unit cannot make a claim."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtri

Floats = NDArray[np.float64]


def average_ranks(values: Floats) -> Floats:
    """Return ranks from 1, equal values sharing the average of their ranks.

    Args:
        values: shape (n,), no missing values.
    """
    _, place, counts = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(counts)
    ranks: Floats = (last - (counts - 1) / 2)[place]
    return ranks


def normal_scores(values: Floats) -> Floats:
    """Return Phi^-1((rank - 3/8) / (n + 1/4)), of the shape of the values.

    Args:
        values: shape (n,) or (n, m) for m columns by themselves, any unit, no missing values.

    Source: Blom 1958, Statistical Estimates and Transformed Beta-Variables; ties by average rank.
    """
    ranks = average_ranks(values) if values.ndim == 1 else pd.DataFrame(values).rank().to_numpy()
    scores: Floats = ndtri((ranks - 0.375) / (len(values) + 0.25))
    return scores


def share_tied(values: Floats) -> float:
    """Return the share of values equal to the commonest one; NaN when there is none."""
    if not len(values):
        return float("nan")
    _, counts = np.unique(values, return_counts=True)
    return float(counts.max() / len(values)) if counts.max() > 1 else 0.0


def combine(values: Sequence[Floats]) -> Floats:
    """Return yes AND yes: no where any is no, else unknown where any is unknown, else yes."""
    stack = np.stack(values)
    out = np.where(np.isnan(stack).any(axis=0), np.nan, 1.0)
    out[(stack == 0).any(axis=0)] = 0.0
    return out


def frequent_itemsets(yes: NDArray[np.bool_], largest: int, least: int) -> list[tuple[int, ...]]:
    """Return every set of at most ``largest`` items that occurs in at least ``least`` units.

    An item that is not known in a unit is passed as not occurring in it.

    Args:
        yes: shape (units, items), whether the item occurs in the unit.
        largest: the most items of a set.
        least: the fewest units in which all items of the set occur; below 1 it counts as 1.

    Returns:
        Column indices in ascending order; smaller sets first, then by index.

    Source: Agrawal and Srikant 1994, VLDB, 487-499 (Apriori).
    """
    units, items = yes.shape
    least = max(least, 1)
    if items == 0 or largest < 1 or least > units:
        return []
    return list(_found(np.asarray(yes, dtype=bool).tobytes(), units, items, largest, least))


@lru_cache(maxsize=16)
def _found(
    packed: bytes, units: int, items: int, largest: int, least: int
) -> tuple[tuple[int, ...], ...]:
    """Return the sets, once for all outcomes that meet the same items on the same units."""
    yes = np.frombuffer(packed, dtype=bool).reshape(units, items)
    with warnings.catch_warnings():  # mlxtend switches on every DeprecationWarning at import
        from mlxtend.frequent_patterns import apriori

    found = apriori(pd.DataFrame(yes), min_support=least / units, max_len=largest)
    sets = (tuple(sorted(int(item) for item in itemset)) for itemset in found["itemsets"])
    return tuple(sorted(sets, key=lambda itemset: (len(itemset), itemset)))
