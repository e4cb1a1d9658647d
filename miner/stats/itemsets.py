"""Frequent itemsets: which items occur together often enough to be looked at."""

from __future__ import annotations

import warnings
from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray


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
