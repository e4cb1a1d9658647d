"""Each group's slope drawn towards that of all, with an interval that doubts the variances too."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from miner.core.messages import Message, Words
from miner.stats.mixed_design import (
    CrossProducts,
    Floats,
    GroupedDesign,
    Panel,
    cross_products,
    design,
)
from miner.stats.mixed_likelihood import AT_ONCE, Evaluations, evaluate_many, posteriors
from miner.stats.mixed_optimise import Likelihood

if TYPE_CHECKING:
    from miner.stats.mixed import MixedFit

DEVIANCE_LEFT_OUT = 16.0
SPREADS, CORRELATIONS = 21, 9
LEAST_WEIGHT = 1e-5
LEVEL = 0.95


@dataclass(frozen=True, slots=True, eq=False)
class ShrunkenSlopes:
    """One shrunken slope a group.

    Attributes:
        names: (groups,) sorted.
        slopes: (groups,).
        standard_errors: (groups,) of prediction.
        intervals: (groups, 2) of 95 %: slope -+ t quantile x standard error.
        problem: why there are none; "" where there are.
    """

    names: npt.NDArray[np.generic]
    slopes: Floats
    standard_errors: Floats
    intervals: Floats
    problem: Words


def shrunken_slopes(
    fit: MixedFit,
    y: npt.ArrayLike,
    X: npt.ArrayLike,
    panel: Panel,
    *,
    slope_column: int,
) -> ShrunkenSlopes:
    """Predict the slope of every group, averaged over how far slopes may differ between groups.

    With few groups the spread of the slopes is poorly known and often estimated as 0; taking it
    as known makes intervals far too narrow. So the predictions are averaged over a grid of that
    spread (standard deviation) and its correlation with the intercept, with weights
    w ~ exp(-deviance / 2) times what makes every variance and covariance equally likely
    beforehand: mean sum w m, variance sum w (v + (m - mean)^2). The variance of the intercept
    over the residual variance and phi are held as fitted. With many groups this is the
    prediction at the fitted variances; with few it covers too often rather than too seldom.

    Args:
        fit: a model with a random slope, fitted to the same arrays.
        y: (units,) response.
        X: (units, p) fixed design.
        panel: the groups and times of the units.
        slope_column: which column of X is the one whose coefficient differs between groups.

    Returns:
        The slopes, NaN with a reason where the fit has a problem.

    Raises:
        ValueError: arrays of different lengths, or a fit without a random slope.

    Source: Morris 1983, J Am Stat Assoc 78:47-55; Morris & Tang 2011, Statistical Science
    26:271-287 (all variances equally likely).
    """
    from scipy.stats import t

    if fit.random in ("none", "intercept"):
        raise ValueError("no random slope")
    prepared = design(y, X, panel, np.asarray(X)[:, slope_column])
    problem = fit.problem or (prepared if isinstance(prepared, Message) else "")
    if problem or isinstance(prepared, Message):
        names = np.unique(np.asarray(panel.groups))
        pair, one = np.full((names.size, 2), np.nan), np.full(names.size, np.nan)
        return ShrunkenSlopes(names, one, one, pair, problem)
    degrees = prepared.units - prepared.fixed
    likelihood = Likelihood(cross_products(prepared, fit.phi), degrees, True, (0, 1, 2))
    grid, before = _grid(fit, prepared, likelihood)
    slopes, variances = _average(prepared, likelihood, grid, before, slope_column)
    errors = np.sqrt(variances)
    reach = t.ppf((1 + LEVEL) / 2, fit.freedom[slope_column]) * errors
    intervals = np.column_stack([slopes - reach, slopes + reach])
    return ShrunkenSlopes(prepared.names, slopes, errors, intervals, "")


def _grid(
    fit: MixedFit, prepared: GroupedDesign, likelihood: Likelihood
) -> tuple[list[Floats], Floats]:
    D = fit.random_covariance / fit.residual_variance * np.outer(prepared.scale, prepared.scale)
    intercept, spread = np.sqrt(D[0, 0]), np.sqrt(D[1, 1])
    together = fit.random == "both" and intercept > 0
    correlation = 0.0
    if together and spread > 0:
        correlation = float(np.clip(D[0, 1] / (intercept * spread), -1, 1))

    def theta(tau: float, rho: float) -> Floats:
        return np.array([intercept, rho * tau, np.sqrt(1 - rho * rho) * tau])

    def deviance(tau: float, rho: float) -> float:
        return likelihood.deviance(theta(tau, rho))

    spreads = _range(lambda tau: deviance(tau, correlation), spread, 0.0, np.inf, SPREADS)
    middle = spread if spread > 0 else float(spreads[SPREADS // 2])
    correlations = np.array([0.0])
    if together:
        correlations = _range(
            lambda rho: deviance(middle, rho), correlation, -1.0, 1.0, CORRELATIONS
        )
    grid = [theta(tau, rho) for tau in spreads for rho in correlations]
    return grid, np.repeat(spreads**2 if together else spreads, correlations.size)


def _range(
    deviance: Callable[[float], float], best: float, lowest: float, highest: float, points: int
) -> Floats:
    limit = deviance(best) + DEVIANCE_LEFT_OUT
    low = _edge(deviance, best, -1.0, lowest, limit)
    high = _edge(deviance, best, 1.0, highest, limit)
    width = (high - low) / points
    return np.asarray(low + width * (np.arange(points) + 0.5))


def _edge(
    deviance: Callable[[float], float], best: float, sign: float, end: float, limit: float
) -> float:
    step, inside = 0.02, best
    while True:
        outside = best + sign * step
        if sign * (outside - end) >= 0:
            outside = end
        if deviance(outside) > limit:
            break
        inside, step = outside, 2 * step
        if outside == end or step > 1e6:
            return float(outside)
    for _ in range(6):
        middle = (inside + outside) / 2
        if deviance(middle) > limit:
            outside = middle
        else:
            inside = middle
    return float(outside)


def _average(
    prepared: GroupedDesign, likelihood: Likelihood, grid: list[Floats], before: Floats, column: int
) -> tuple[Floats, Floats]:
    thetas, products = np.stack(grid), likelihood.products
    found = evaluate_many(products, thetas, likelihood.degrees, reml=likelihood.reml)
    weights = before * np.exp(-(found.deviance - found.deviance.min()) / 2)
    weights /= weights.sum()
    kept = np.flatnonzero(weights >= LEAST_WEIGHT)
    mean, square = np.zeros(prepared.groups), np.zeros(prepared.groups)
    centre = float(prepared.least_squares[column])
    step = max(1, AT_ONCE // prepared.groups)
    for begin in range(0, kept.size, step):
        some = kept[begin : begin + step]
        own, variances = _slopes(prepared, products, thetas[some], found, some, column)
        variances *= (found.rss[some] / likelihood.degrees)[:, None]
        mean += np.einsum("k,kg->g", weights[some], own)
        square += np.einsum("k,kg->g", weights[some], own**2 + variances)
    return centre + mean, square - mean**2


def _slopes(
    prepared: GroupedDesign,
    products: CrossProducts,
    thetas: Floats,
    found: Evaluations,
    some: npt.NDArray[np.intp],
    column: int,
) -> tuple[Floats, Floats]:
    """Return (k, groups) slopes and their error variances over the residual variance."""
    K, _ = posteriors(products, thetas)
    size, back = prepared.scale[1], prepared.back[column]
    coefficients, inverse = found.coefficients[some], found.inverse[some]
    against = np.column_stack([-coefficients, np.ones(some.size)])
    left = np.einsum("ajg,kj->kag", products.across, against)
    own = (coefficients @ back)[:, None] + (K[:, 1] * left[:, 0] + K[:, 2] * left[:, 1]) / size
    first, second = products.across[:, :-1]
    drawn = K[:, 1, None] * first + K[:, 2, None] * second
    rows = back[:, None] - drawn / size
    return own, K[:, 2] / size**2 + (np.matmul(inverse, rows) * rows).sum(axis=1)
