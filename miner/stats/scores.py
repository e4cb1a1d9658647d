"""Normal scores: the outcome on a scale where one wild unit cannot make a claim."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import rankdata

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
    ranks = average_ranks(values) if values.ndim == 1 else rankdata(values, axis=0)
    scores: Floats = ndtri((ranks - 0.375) / (len(values) + 0.25))
    return scores


def share_tied(values: Floats) -> float:
    """Return the share of values equal to the commonest one; NaN when there is none."""
    if not len(values):
        return float("nan")
    _, counts = np.unique(values, return_counts=True)
    return float(counts.max() / len(values)) if counts.max() > 1 else 0.0
