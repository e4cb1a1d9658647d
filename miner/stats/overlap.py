"""How much two yes/no columns say the same."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def phi_matrix(values: Floats, others: Floats) -> Floats:
    """Return the correlation of yes/no columns over the units known for both.

    Args:
        values: shape (n, m), 1, 0 or NaN.
        others: shape (n, k), likewise.

    Returns:
        Shape (m, k); NaN where either does not vary over the units known for both.

    Source: Pearson's phi of a 2 x 2 table; Agresti 2013, Categorical Data Analysis, 3rd ed.
    """
    known, known_too = ~np.isnan(values), ~np.isnan(others)
    yes, yes_too = np.where(known, values, 0.0), np.where(known_too, others, 0.0)
    n = known.T.astype(float) @ known_too
    first = yes.T @ known_too
    second = known.T.astype(float) @ yes_too
    both = yes.T @ yes_too
    top = n * both - first * second
    bottom = first * (n - first) * second * (n - second)
    out = np.full(top.shape, np.nan)
    varies = bottom > 0
    out[varies] = top[varies] / np.sqrt(bottom[varies])
    return out


def differing(values: Floats, others: Floats) -> tuple[int, int]:
    """Return on how many units two columns differ, and on how many both are known.

    Args:
        values: shape (n,), 1, 0 or NaN.
        others: shape (n,), likewise.
    """
    both = ~np.isnan(values) & ~np.isnan(others)
    return int((values[both] != others[both]).sum()), int(both.sum())
