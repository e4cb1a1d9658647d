"""What to expect on new units of a difference that was picked because it was large."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import inf, isnan, log, log1p, nan, sqrt

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


def expected(
    difference: float, se: float, spread: float, df: float = inf, share: float = 1.0
) -> Expected:
    """Return a difference shrunk towards 0 by how many true ones there are, and of what size.

    The mean and standard deviation of the true difference b given the estimate. b is exactly 0
    with the chance 1 - share, else normal around 0 (spike and slab); the estimate is b plus se
    times Student's t. One picked because it was large often has a standard error that came out
    small; the t takes that into account. The t is a normal deviate times sqrt(w), w = df /
    chi-square: given w and that b is not 0 the expected difference is difference * spread^2 /
    (spread^2 + w * se^2). w, and whether b is 0, are averaged out. NaN where both se and spread
    are 0, or anything is unknown.

    Args:
        difference: as estimated, in the outcome's unit.
        se: its standard error, same unit, not negative; infinite says that nothing was learnt.
        spread: standard deviation of true differences of this kind, same unit, not negative.
        df: degrees of freedom of the standard error, above 0; infinite says that it is known.
        share: of true differences of this kind that are not 0, above 0 and at most 1.

    Source: Gelman et al. 2014, Bayesian Data Analysis, 3rd ed., eq. 2.11-2.12; the t as a mixture
    of normals: section 17.2 (section from memory); the mass at 0: Mitchell & Beauchamp 1988, J Am
    Stat Assoc 83:1023 (from memory).
    """
    if isnan(difference) or isnan(df) or not spread**2 + se**2 > 0:
        return Expected(nan, nan)
    if se == inf:
        return Expected(0.0, sqrt(share) * spread)
    if se == 0 or spread == 0:
        return Expected(difference if se == 0 else 0.0, 0.0)
    scales, mixing = _mixing(df)
    noise = se**2 * scales
    total = spread**2 + noise
    moved = _weights(mixing, difference, total) + log(share)
    still = _weights(mixing, difference, noise) + (log1p(-share) if share < 1 else -inf)
    most = max(moved.max(), still.max())
    weight = np.exp(moved - most)
    weight /= weight.sum() + np.exp(still - most).sum()
    means = difference * spread**2 / total
    mean = float((weight * means).sum())
    square = float((weight * (noise * spread**2 / total + means**2)).sum())
    return Expected(mean, sqrt(max(square - mean**2, 0.0)))


def _weights(mixing: Floats, difference: float, variance: Floats) -> Floats:
    """Return the logarithm of the density of each w and the difference, up to one constant."""
    found: Floats = mixing - 0.5 * (np.log(variance) + difference**2 / variance)
    return found


@lru_cache(maxsize=256)
def _mixing(df: float) -> tuple[Floats, Floats]:
    """Return an even grid of log w, as w, with the logarithm of its density up to a constant."""
    if df == inf:
        return np.ones(1), np.zeros(1)
    least, most = gammainccinv(df / 2, REACH), gammaincinv(df / 2, REACH)
    grid = np.linspace(np.log(df / 2 / least), np.log(df / 2 / most), NODES)
    return np.exp(grid), -0.5 * df * (grid + np.exp(-grid))
