"""Generalised least squares with dependence within groups and no random effects."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from miner.stats.mixed import MixedFit, fit_mixed


def gls_ar1(
    y: npt.ArrayLike,
    X: npt.ArrayLike,
    times: npt.ArrayLike,
    groups: npt.ArrayLike | None = None,
    *,
    reml: bool = True,
) -> MixedFit:
    """Fit y = X b + e, e of one group correlated phi^|t_i - t_j|, groups independent.

    The squared standard errors hold the residual variance of the likelihood that was used; those
    nlme prints after maximum likelihood are larger by n / (n - p).

    Args:
        y: (units,) response.
        X: (units, p) design, with its own column of ones where an intercept is meant.
        times: (units,) time of each unit.
        groups: (units,) series each unit belongs to; None for a single series.
        reml: restricted likelihood.

    Returns:
        The fit, its random covariance 0.

    Source: Pinheiro & Bates 2000, Mixed-Effects Models in S and S-PLUS, section 5.4.
    """
    series = np.zeros(np.shape(y)[0], dtype=np.int64) if groups is None else groups
    return fit_mixed(y, X, series, random="none", times=times, reml=reml)
