"""Takes out of a column what other columns account for, in every group by itself."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from miner.stats.pooling import Floats, within_between


def within_residual(
    x: npt.ArrayLike, groups: npt.ArrayLike, nuisance: npt.ArrayLike | None = None
) -> tuple[Floats, Floats]:
    """Return the residual of x on an intercept and the nuisance, fitted in every group by itself.

    A regression on that residual has the coefficient x has beside the nuisance, whatever the
    nuisance does in each group.

    Args:
        x: (units,) every value known.
        groups: (units,) the group of each unit, in any order.
        nuisance: (units, c) every value known; a column that does not vary in a group, or that
            others span there, takes nothing more out.

    Returns:
        (units,) residuals, and (units,) the share of the variation about the mean of its group
        that is left in each unit's group; NaN where there is none to begin with.

    Raises:
        ValueError: arrays of different lengths, or unknown values.

    Source: Frisch & Waugh 1933, Econometrica 1:387-401; Lovell 1963, J Am Stat Assoc 58:993-1010.
    """
    import pandas as pd

    column = np.asarray(x, dtype=np.float64)
    codes, names = pd.factorize(np.asarray(groups))
    other = np.empty((column.size, 0)) if nuisance is None else np.asarray(nuisance, np.float64)
    if column.shape != codes.shape or other.shape[:1] != codes.shape:
        raise ValueError("lengths differ")
    if not (np.isfinite(column).all() and np.isfinite(other).all()):
        raise ValueError("values unknown")
    centred = within_between(column, codes)[0]
    rows = [within_between(part, codes)[0] for part in other.T]
    left = centred - _fitted(centred, rows, codes, len(names)) if rows else centred
    before = np.bincount(codes, centred**2, len(names))
    after = np.bincount(codes, left**2, len(names))
    share = np.divide(after, before, out=np.full(len(names), np.nan), where=before > 0)
    return left, share[codes]


def _fitted(y: Floats, rows: list[Floats], codes: npt.NDArray[np.intp], groups: int) -> Floats:
    size = len(rows)
    products = np.empty((groups, size, size))
    for i in range(size):
        for j in range(i, size):
            products[:, i, j] = products[:, j, i] = np.bincount(codes, rows[i] * rows[j], groups)
    along = np.stack([np.bincount(codes, row * y, groups) for row in rows], axis=1)
    scale = np.sqrt(np.einsum("gii->gi", products))
    scale[scale == 0] = 1.0
    inverse = np.linalg.pinv(
        products / scale[:, :, None] / scale[:, None, :], rcond=1e-9, hermitian=True
    )
    coefficients = np.einsum("gij,gj->gi", inverse, along / scale) / scale
    return np.asarray(sum(coefficients[codes, i] * row for i, row in enumerate(rows)))
