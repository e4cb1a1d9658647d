"""Each group's own intercept and slope, drawn towards those of all groups, with intervals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from miner.stats.mixed import MixedFit
from miner.stats.mixed_design import Design, Floats, cross_products, design
from miner.stats.mixed_likelihood import posterior


@dataclass(frozen=True, slots=True, eq=False)
class GroupEffects:
    """Best linear unbiased predictions of a mixed model.

    Attributes:
        names: (groups,) sorted.
        deviations: (groups, 2) predicted intercept and slope less those of all groups.
        deviation_errors: (groups, 2) their standard errors of prediction.
        slopes: (groups,) the slope of all groups plus the group's deviation.
        slope_errors: (groups,) standard errors of prediction.
        intervals: (groups, 2) slope -+ t quantile x its standard error.
        problem: why there are none, in plain words; "" where there are.
    """

    names: npt.NDArray[np.generic]
    deviations: Floats
    deviation_errors: Floats
    slopes: Floats
    slope_errors: Floats
    intervals: Floats
    problem: str


def shrunken_slopes(
    fit: MixedFit,
    y: npt.ArrayLike,
    X: npt.ArrayLike,
    groups: npt.ArrayLike,
    slope: npt.ArrayLike,
    *,
    slope_column: int,
    times: npt.ArrayLike | None = None,
    level: float = 0.95,
) -> GroupEffects:
    """Predict the slope of every group under a fitted model, from the data it was fitted to.

    With K_g = (D^-1 + Z'R^-1 Z)^-1 the deviations are K_g Z'R^-1 (y - X b) and their errors have
    the variance s2 K_g + (K_g Z'R^-1 X) Cov(b) (K_g Z'R^-1 X)': the second part is what not
    knowing b adds. For the slope the row of b is taken along. The variances are taken as known;
    the t quantile has the degrees of freedom of the slope of all groups.

    Args:
        fit: the model fitted to the same arrays.
        y: (units,) response.
        X: (units, p) fixed design.
        groups: (units,) the group of each unit.
        slope: (units,) the column whose coefficient differs between groups.
        slope_column: which column of X is that column.
        times: (units,) as in the fit.
        level: of the intervals.

    Returns:
        The predictions, NaN with a reason where the fit has a problem.

    Raises:
        ValueError: arrays of different lengths.

    Source: Henderson 1975, Biometrics 31:423-447; Robinson 1991, Statistical Science 6:15-32.
    """
    from scipy.stats import t

    prepared = design(y, X, groups, slope, times)
    if isinstance(prepared, str) or fit.problem:
        return _nothing(np.unique(np.asarray(groups)), fit.problem or str(prepared))
    deviations, K, across = _predict(fit, prepared)
    scale = prepared.scale[:, None]
    whole = np.zeros(prepared.fixed)
    whole[slope_column] = 1.0
    errors = np.empty((prepared.groups, 2))
    for i, own in ((0, K[0]), (1, K[2])):
        errors[:, i] = _error(fit, own / scale[i] ** 2, -across[i] / scale[i])
    slopes = fit.coefficients[slope_column] + deviations[:, 1]
    slope_errors = _error(fit, K[2] / scale[1] ** 2, whole - across[1] / scale[1])
    reach = t.ppf((1 + level) / 2, fit.freedom[slope_column]) * slope_errors
    intervals = np.column_stack([slopes - reach, slopes + reach])
    return GroupEffects(prepared.names, deviations, errors, slopes, slope_errors, intervals, "")


def _predict(fit: MixedFit, prepared: Design) -> tuple[Floats, Floats, Floats]:
    products = cross_products(prepared, fit.phi)
    relative = fit.random_covariance / fit.residual_variance
    K, _ = posterior(products, relative * np.outer(prepared.scale, prepared.scale))
    forward = np.linalg.inv(prepared.back)
    coefficients = forward @ (fit.coefficients - prepared.least_squares)
    residuals = products.across @ np.append(-coefficients, 1.0)
    fixed = products.across[:, :, :-1] @ forward
    deviations = np.stack(_times(K, residuals[0], residuals[1]), axis=1) / prepared.scale
    across = np.stack(_times(K[:, :, None], fixed[0], fixed[1]))
    return deviations, K, across


def _times(K: Floats, first: Floats, second: Floats) -> tuple[Floats, Floats]:
    return K[0] * first + K[1] * second, K[1] * first + K[2] * second


def _error(fit: MixedFit, own: Floats, rows: Floats) -> Floats:
    from_fixed = np.einsum("gi,ij,gj->g", rows, fit.covariance, rows)
    return np.asarray(np.sqrt(fit.residual_variance * own + from_fixed))


def _nothing(names: npt.NDArray[np.generic], problem: str) -> GroupEffects:
    pair, one = np.full((names.size, 2), np.nan), np.full(names.size, np.nan)
    return GroupEffects(names, pair, pair, one, one, pair, problem)
