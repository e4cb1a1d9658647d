"""P-values adjusted for how many questions were asked."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def holm(p: ArrayLike) -> Floats:
    """Return Holm's step-down adjusted p-values: they bound the chance of any false claim.

    Formula, for p sorted upwards: max over j <= i of min(1, (m - j + 1) p_j).

    Args:
        p: shape (questions,), p-values from 0 to 1; NaN is not a question: it stays NaN and is
            not counted.

    Source: Holm 1979, Scand J Stat 6:65-70.
    """
    values, order, known = _sorted(p)
    remaining = np.arange(order.size, 0, -1)
    values[order] = np.minimum(np.maximum.accumulate(values[order] * remaining), 1.0)
    return _placed(values, known)


def benjamini_hochberg(p: ArrayLike) -> Floats:
    """Return Benjamini and Hochberg's step-up adjusted p-values: they bound the false share.

    Formula, for p sorted upwards: min over j >= i of min(1, m p_j / j).

    Args:
        p: shape (questions,), p-values from 0 to 1; NaN is not a question: it stays NaN and is
            not counted.

    Source: Benjamini and Hochberg 1995, J R Stat Soc B 57:289-300.
    """
    values, order, known = _sorted(p)
    scaled = values[order] * order.size / np.arange(1, order.size + 1)
    values[order] = np.minimum(np.minimum.accumulate(scaled[::-1])[::-1], 1.0)
    return _placed(values, known)


def _sorted(p: ArrayLike) -> tuple[Floats, NDArray[np.intp], NDArray[np.bool_]]:
    given = np.asarray(p, dtype=np.float64)
    known = np.isfinite(given)
    values = given[known]
    return values, np.argsort(values, kind="stable"), known


def _placed(values: Floats, known: NDArray[np.bool_]) -> Floats:
    result = np.full(known.shape, np.nan)
    result[known] = values
    return result
