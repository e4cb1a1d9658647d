"""Estimates of groups drawn towards their mean, how far they may differ averaged over."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from miner.stats.pooling import Floats

SPREADS = 200
WIDEST = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class ShrunkenMeans:
    """One drawn estimate a group, with the standard deviation of what it may be."""

    means: Floats
    deviations: Floats


def shrunken_means(estimates: npt.ArrayLike, standard_errors: npt.ArrayLike) -> ShrunkenMeans:
    """Return the mean and standard deviation of each group's true value, given all estimates.

    True values are normal about a mean with a spread tau; both are as likely everywhere
    beforehand. Given tau, with w_i = 1 / (s_i^2 + tau^2) and m their weighted mean, the value of
    group i has the mean B m + (1 - B) y_i, B = s_i^2 w_i, and the variance (1 - B) s_i^2 +
    B^2 / sum w. These are averaged over tau.

    Args:
        estimates: (groups,), three at least.
        standard_errors: (groups,) above 0.

    Source: Gelman et al. 2013, Bayesian Data Analysis, 3rd ed., section 5.4.
    """
    y, v = np.asarray(estimates, dtype=np.float64), np.asarray(standard_errors, np.float64) ** 2
    widest = WIDEST * np.sqrt(np.ptp(y) ** 2 + v.max())
    tau = widest * (np.arange(SPREADS) + 0.5)[:, None] / SPREADS
    w = 1 / (v + tau**2)
    whole = w.sum(axis=1)
    m = w @ y / whole
    left = (w * (y - m[:, None]) ** 2).sum(axis=1)
    log = (np.log(w).sum(axis=1) - np.log(whole) - left) / 2
    weights = np.exp(log - log.max())
    weights /= weights.sum()
    drawn = v * w
    means = drawn * m[:, None] + (1 - drawn) * y
    variances = (1 - drawn) * v + drawn**2 / whole[:, None]
    mean = weights @ means
    return ShrunkenMeans(mean, np.sqrt(weights @ (variances + means**2) - mean**2))
