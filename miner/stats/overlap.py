"""How much two columns say the same."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def correlations(values: Floats, others: Floats) -> Floats:
    """Return the correlation of columns over the units known for both.

    Args:
        values: shape (n, m): 1, 0 or NaN, or any numbers.
        others: shape (n, k), likewise.

    Returns:
        Shape (m, k); NaN where either does not vary over the units known for both.

    Source: Pearson's product-moment correlation; of two yes/no columns it is phi of their 2 x 2
    table (Agresti 2013, Categorical Data Analysis, 3rd ed.).
    """
    known, known_too = (~np.isnan(values)).astype(float), (~np.isnan(others)).astype(float)
    one, other = np.where(known > 0, values, 0.0), np.where(known_too > 0, others, 0.0)
    n = known.T @ known_too
    first, second = one.T @ known_too, known.T @ other
    top = n * (one.T @ other) - first * second
    spread = n * (np.square(one).T @ known_too) - first**2
    spread_too = n * (known.T @ np.square(other)) - second**2
    bottom = np.where(spread > 1e-9 * n**2, spread, 0.0)
    bottom = bottom * np.where(spread_too > 1e-9 * n**2, spread_too, 0.0)
    out = np.full(top.shape, np.nan)
    varies = bottom > 0
    out[varies] = np.clip(top[varies] / np.sqrt(bottom[varies]), -1.0, 1.0)
    return out


def differing(values: Floats, others: Floats) -> tuple[int, int]:
    """Return on how many units two columns differ, and on how many both are known.

    Args:
        values: shape (n,), 1, 0 or NaN.
        others: shape (n,), likewise.
    """
    both = ~np.isnan(values) & ~np.isnan(others)
    return int((values[both] != others[both]).sum()), int(both.sum())
