"""Predicts each group's own intercept and slope under a fitted mixed model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from miner.stats.mixed import MixedFit
from miner.stats.mixed_design import Design, Floats, design
from miner.stats.mixed_likelihood import posterior
from miner.stats.mixed_products import CrossProducts, cross_products


@dataclass(frozen=True, slots=True, eq=False)
class GroupEffects:
    """Best linear unbiased predictions of a mixed model, its variances taken as known.

    Attributes:
        names: (groups,) sorted.
        deviations: (groups, 2) predicted intercept and slope less those of all groups.
        deviation_errors: (groups, 2) their standard errors of prediction.
        slopes: (groups,) the slope of all groups plus the group's deviation.
        slope_errors: (groups,) standard errors of prediction.
        problem: why there are none, in plain words; "" where there are.
    """

    names: npt.NDArray[np.generic]
    deviations: Floats
    deviation_errors: Floats
    slopes: Floats
    slope_errors: Floats
    problem: str


def group_effects(
    fit: MixedFit,
    y: npt.ArrayLike,
    X: npt.ArrayLike,
    groups: npt.ArrayLike,
    slope: npt.ArrayLike,
    *,
    slope_column: int,
    times: npt.ArrayLike | None = None,
) -> GroupEffects:
    """Predict the intercept and slope of every group from the data the model was fitted to.

    With K_g = (D^-1 + Z'R^-1 Z)^-1 the deviations are K_g Z'R^-1 (y - X b) and their errors have
    the variance s2 K_g + (K_g Z'R^-1 X) Cov(b) (K_g Z'R^-1 X)': the second part is what not
    knowing b adds. For the slope the row of b is taken along.

    Args:
        fit: the model fitted to the same arrays.
        y: (units,) response.
        X: (units, p) fixed design.
        groups: (units,) the group of each unit.
        slope: (units,) the column whose coefficient differs between groups.
        slope_column: which column of X is that column.
        times: (units,) as in the fit.

    Returns:
        The predictions, NaN with a reason where the fit has a problem.

    Raises:
        ValueError: arrays of different lengths.

    Source: Henderson 1975, Biometrics 31:423-447; Robinson 1991, Statistical Science 6:15-32.
    """
    prepared = design(y, X, groups, slope, times)
    if isinstance(prepared, str) or fit.problem:
        names = np.unique(np.asarray(groups))
        pair, one = np.full((names.size, 2), np.nan), np.full(names.size, np.nan)
        return GroupEffects(names, pair, pair, one, one, fit.problem or str(prepared))
    products = cross_products(prepared, fit.phi)
    D = fit.random_covariance / fit.residual_variance * np.outer(prepared.scale, prepared.scale)
    forward = np.linalg.inv(prepared.back)
    coefficients = forward @ (fit.coefficients - prepared.least_squares)
    inverse = forward @ fit.covariance @ forward.T / fit.residual_variance
    found = predict(prepared, products, D, coefficients, inverse, slope_column)
    errors = np.sqrt(fit.residual_variance * found.variances)
    slopes = fit.coefficients[slope_column] + found.deviations[:, 1]
    return GroupEffects(
        prepared.names, found.deviations, errors[:, :2], slopes, errors[:, 2], ""
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Prediction:
    """Deviations of every group at one covariance of the random effects.

    Attributes:
        deviations: (groups, 2) intercept and slope, in the caller's units.
        variances: (groups, 3) of the errors of both and of the whole slope, over the residual
            variance.
    """

    deviations: Floats
    variances: Floats


def predict(
    prepared: Design,
    products: CrossProducts,
    D: Floats,
    coefficients: Floats,
    inverse: Floats,
    slope_column: int,
) -> Prediction:
    """Predict in the coordinates of the design.

    Args:
        prepared: the data.
        products: its cross-products.
        D: (2, 2) relative covariance of the scaled random effects.
        coefficients: (p,) of the orthonormal columns.
        inverse: (p, p) their covariance over the residual variance.
        slope_column: which column of the caller's design differs between groups.
    """
    K, _ = posterior(products, D)
    residuals = np.einsum("kjg,j->kg", products.across, np.append(-coefficients, 1.0))
    fixed = products.across[:, :-1]
    deviations = np.stack(_times(K, residuals[0], residuals[1]), axis=1) / prepared.scale
    own = np.stack([K[0], K[2], K[2]], axis=1) / prepared.scale[[0, 1, 1]] ** 2
    first, second = _times(K[:, None, :], fixed[0], fixed[1])
    first, second = -first / prepared.scale[0], -second / prepared.scale[1]
    rows = (first, second, second + prepared.back[slope_column][:, None])
    from_fixed = [(np.einsum("ij,jg->ig", inverse, row) * row).sum(axis=0) for row in rows]
    return Prediction(deviations, own + np.stack(from_fixed, axis=1))


def _times(K: Floats, first: Floats, second: Floats) -> tuple[Floats, Floats]:
    return K[0] * first + K[1] * second, K[1] * first + K[2] * second
