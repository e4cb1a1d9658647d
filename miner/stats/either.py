"""The chance that the better of two looks at one thing looks this good when nothing is true."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

NODES = 512


def either(first: float, second: float, correlation: float, df: float) -> float:
    """Return the chance that one of two partial correlations reaches its limit, in size.

    Both columns are compared with one outcome that points anywhere in df + 1 dimensions with the
    same chance, as normal scatter does. In the plane of the two columns its squared length R^2 is
    Beta(1, (df - 1) / 2) and its angle uniform, so the chance is the mean over all angles of
    P(R >= the smaller of first / |cos angle|, second / |cos (angle - a)|), cos a the correlation.

    Args:
        first: limit of the first, 0 to 1.
        second: limit of the second, 0 to 1.
        correlation: of the two columns, nuisance taken out of both.
        df: degrees of freedom left for one of them, at least 1.

    Source: the geometry of Fisher 1915, Biometrika 10:507, for two columns at once; derived here,
    checked by permutation and by Student's t where the two are one.
    """
    angles = np.pi * (np.arange(NODES) + 0.5) / NODES
    turn = np.arccos(np.clip(correlation, -1.0, 1.0))
    with np.errstate(divide="ignore"):
        reach = np.minimum(first / np.abs(np.cos(angles)), second / np.abs(np.cos(angles - turn)))
    inside = np.maximum(1 - np.square(np.minimum(reach, 1.0)), 0.0)
    return float(np.where(reach < 1, inside ** ((df - 1) / 2), 0.0).mean())


def r_of_t(t: float, df: float) -> float:
    """Return the size of the partial correlation that has this t."""
    return float(np.abs(t) / np.sqrt(df + t * t)) if np.isfinite(t) else 1.0
