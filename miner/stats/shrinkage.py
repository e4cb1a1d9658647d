"""What to expect on new units of a difference that was picked because it was large."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import inf, isnan, nan, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainccinv, gammaincinv

Floats = NDArray[np.float64]

NODES, REACH = 1024, 1e-50


@dataclass(frozen=True, slots=True)
class Expected:
    """A difference shrunk towards 0, and the standard error it then has, both in its own unit."""

    difference: float
    standard_error: float


def expected(difference: float, se: float, spread: float, df: float = inf) -> Expected:
    """Return a difference shrunk towards 0 by how far true differences are thought to spread.

    The mean and standard deviation of the true difference b given the estimate, where b is normal
    around 0 and the estimate is b plus se times Student's t. One picked because it was large often
    has a standard error that came out small; the t takes that into account. The t is a normal
    deviate times sqrt(w), w = df / chi-square: given w the expected difference is
    difference * spread^2 / (spread^2 + w * se^2), and w is averaged out. NaN where both se and
    spread are 0, or anything is unknown.

    Args:
        difference: as estimated, in the outcome's unit.
        se: its standard error, same unit, not negative; infinite says that nothing was learnt.
        spread: standard deviation of true differences of this kind, same unit, not negative.
        df: degrees of freedom of the standard error, above 0; infinite says that it is known.

    Source: Gelman et al. 2014, Bayesian Data Analysis, 3rd ed., eq. 2.11-2.12; the t as a mixture
    of normals: section 17.2 (section from memory).
    """
    if isnan(difference) or isnan(df) or not spread**2 + se**2 > 0:
        return Expected(nan, nan)
    if se == inf:
        return Expected(0.0, spread)
    scales, logs = _mixing(df)
    variance = se**2 * scales
    total = spread**2 + variance
    logs = logs - 0.5 * (np.log(total) + difference**2 / total)
    weight = np.exp(logs - logs.max())
    weight /= weight.sum()
    means = difference * spread**2 / total
    mean = float((weight * means).sum())
    left = float((weight * (variance * spread**2 / total + (means - mean) ** 2)).sum())
    return Expected(mean, sqrt(left))


@lru_cache(maxsize=256)
def _mixing(df: float) -> tuple[Floats, Floats]:
    """Return an even grid of log w, as w, with the logarithm of its density up to a constant."""
    if df == inf:
        return np.ones(1), np.zeros(1)
    least, most = gammainccinv(df / 2, REACH), gammaincinv(df / 2, REACH)
    grid = np.linspace(np.log(df / 2 / least), np.log(df / 2 / most), NODES)
    return np.exp(grid), -0.5 * df * (grid + np.exp(-grid))
