"""Taking nuisance out of columns."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def orthonormal(columns: Floats, tolerance: float = 1e-8) -> Floats:
    """Return an orthonormal basis of the span of the columns, shape (n, rank).

    Args:
        columns: shape (n, p); columns that add nothing are dropped.
        tolerance: relative singular value under which a direction counts as nothing.
    """
    if columns.shape[1] == 0:
        return columns.copy()
    scale = np.linalg.norm(columns, axis=0)
    scaled = columns / np.where(scale > 0, scale, 1.0)
    left, size, _ = np.linalg.svd(scaled, full_matrices=False)
    basis: Floats = left[:, size > tolerance * max(float(size[0]), 1e-300)]
    return basis


def independent(columns: Floats, tolerance: float = 1e-8) -> list[int]:
    """Return which columns, in order, are not spanned by those before them.

    Args:
        columns: shape (n, p).
        tolerance: share of a column's length under which what is left of it counts as nothing.
    """
    kept: list[int] = []
    basis = np.empty((len(columns), 0))
    for at in range(columns.shape[1]):
        column = columns[:, at]
        rest = residual(basis, column[:, None])[:, 0]
        length = float(np.linalg.norm(rest))
        if length > tolerance * max(float(np.linalg.norm(column)), 1e-300):
            kept.append(at)
            basis = np.hstack([basis, (rest / length)[:, None]])
    return kept


def residual(basis: Floats, columns: Floats) -> Floats:
    """Return what is left of the columns off an orthonormal basis, shape (n, m).

    Args:
        basis: shape (n, p), orthonormal.
        columns: shape (n, m).
    """
    left: Floats = columns - basis @ (basis.T @ columns)
    return left


def share_kept(basis: Floats, small: Floats, columns: Floats) -> Floats:
    """Return the share of each column's variation off ``small`` that is left off ``basis``.

    Args:
        basis: shape (n, p), orthonormal, spans ``small``.
        small: shape (n, q), orthonormal, usually the intercept alone.
        columns: shape (n, m).

    Returns:
        Shape (m,), 0 to 1; NaN for a column that does not vary.
    """
    whole = np.square(residual(small, columns)).sum(axis=0)
    left = np.square(residual(basis, columns)).sum(axis=0)
    out = np.full(columns.shape[1], np.nan)
    varies = whole > 1e-12 * np.maximum(np.square(columns).sum(axis=0), 1e-300)
    out[varies] = left[varies] / whole[varies]
    return out
