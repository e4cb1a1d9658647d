"""Each group's own slope at several dependences, so that any of them can be left out exactly.

Units of one day share that day, and days depend on the days before: two units correlate as
w phi^|days apart|, the rest of a unit is its own. With one unit a day this is AR(1) plus noise.
How much units depend on each other is learned from many groups together. A slope that is to rest
on no other group's units is therefore kept for every dependence on a grid, next to its group's
likelihood there: whichever groups are left out, the others choose among theirs.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt
from scipy.special import stdtr

from miner.stats.pooling import Floats, within_between

DEPENDENCES = np.array([(0.0, 0.0), *product((0.15, 0.3, 0.5, 0.7, 0.95), (0.0, 0.3, 0.6, 0.85))])
"""(dependences, 2): w, the share of a unit's variance that is its day's, and phi."""

FEWEST_FREEDOM = 3
GROUPS_AT_ONCE = 50
RIDGE = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class SlopesOnGrid:
    """Slopes at each of ``DEPENDENCES``, by group, in the order of the groups' names.

    Attributes:
        slopes: (dependences, groups) NaN where a group has none.
        errors: (dependences, groups) their standard errors.
        likelihoods: (dependences, groups) restricted log-likelihood of the group's units, but for
            a constant; 0 where a group has too few.
    """

    slopes: Floats
    errors: Floats
    likelihoods: Floats


def slopes_on_grid(
    y: npt.ArrayLike,
    x: npt.ArrayLike,
    groups: npt.ArrayLike,
    nuisance: npt.ArrayLike,
    times: npt.ArrayLike,
) -> SlopesOnGrid:
    """Regress y on x in every group by itself, for each dependence of a grid.

    The slope is fitted with an intercept, as in ``two_stage``; the likelihood also next to the
    nuisance, so that a drift is not taken for dependence.

    Args:
        y: (units,) every value known, as of all arguments.
        x: (units,) cleared of the nuisance.
        groups: (units,) the group of each unit.
        nuisance: (units, c) allowed for in every group.
        times: (units,) days; those of one whole number are of one day.

    Source: Patterson & Thompson 1971, Biometrika 58:545-554 (restricted likelihood).
    """
    import pandas as pd

    clock = np.asarray(times, dtype=np.float64)
    codes, names = pd.factorize(np.asarray(groups), sort=True)
    order = np.lexsort((clock, codes))
    codes, days = codes[order], np.floor(clock[order])
    columns = [np.asarray(x, np.float64), *np.asarray(nuisance, np.float64).T, np.asarray(y)]
    inside = [within_between(column[order], codes)[0] for column in columns]
    rows = np.vstack([np.ones(codes.size), *inside])
    units = np.bincount(codes, minlength=len(names))
    ends = np.cumsum(units)
    parts = []
    for begin in range(0, len(names), GROUPS_AT_ONCE):
        some = units[begin : begin + GROUPS_AT_ONCE]
        own = slice(int(ends[begin] - units[begin]), int(ends[begin + len(some) - 1]))
        products, dets = _products(rows[:, own], days[own], some)
        parts.append((*_slopes(products, some), _likelihoods(products, dets, some)))
    found = [np.concatenate(items, axis=1) for items in zip(*parts, strict=True)]
    return SlopesOnGrid(*found)


def at_common_dependence(found: SlopesOnGrid, used: npt.NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Return slopes and standard errors at the dependence that the groups of a subset agree on.

    They are averaged over the grid, each dependence with the likelihood of all groups used.

    Args:
        found: of all groups.
        used: (subsets, groups).

    Returns:
        (subsets, groups) each.
    """
    total = used.astype(np.float64) @ found.likelihoods.T
    weights = np.exp(total - total.max(axis=1, keepdims=True))
    weights /= weights.sum(axis=1, keepdims=True)
    return weights @ found.slopes, weights @ found.errors


def _products(rows: Floats, days: Floats, units: npt.NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Return (dependences, groups, k, k) products of whitened rows, and log determinants.

    The day's level is followed from unit to unit by the Kalman filter; what each unit adds to
    what was predicted of it, over its standard deviation, is white.

    Source: Harvey 1989, Forecasting, Structural Time Series Models and the Kalman Filter, ch. 3.
    """
    share, phi = DEPENDENCES[:, :1], DEPENDENCES[:, 1:]
    starts = np.cumsum(units) - units
    shape = (len(share), units.size)
    level, variance = np.zeros((*shape, len(rows))), np.broadcast_to(share, shape)
    products, dets = np.zeros((*shape, len(rows), len(rows))), np.zeros(shape)
    for step in range(int(units.max())):
        at = starts + np.minimum(step, units - 1)
        gap = days[at] - days[at - 1] if step else np.full(units.size, np.inf)
        rho = phi**gap
        variance = rho**2 * variance + share * (1 - rho**2)
        whole = variance + 1 - share
        level = level * rho[:, :, None]
        white = (rows[:, at].T - level) / np.sqrt(whole)[:, :, None]
        white[:, step >= units] = 0.0
        products += white[:, :, :, None] * white[:, :, None, :]
        dets += np.where(step < units, np.log(whole), 0.0)
        level = level + (variance / np.sqrt(whole))[:, :, None] * white
        variance = variance * (1 - variance / whole)
    return products, dets


def _slopes(products: Floats, units: npt.NDArray[np.intp]) -> tuple[Floats, Floats]:
    ones = products[:, :, 0, :] / np.sqrt(products[:, :, 0, 0, None])
    own = products[:, :, [1, -1], :] - ones[:, :, [1, -1], None] * ones[:, :, None, :]
    inner, cross, whole = own[:, :, 0, 1], own[:, :, 0, -1], own[:, :, 1, -1]
    freedom = units - 2
    known = (inner > 1e-9 * units) & (freedom >= FEWEST_FREEDOM)
    nothing = np.full(inner.shape, np.nan)
    slopes = np.divide(cross, inner, out=nothing.copy(), where=known)
    squares = np.maximum(whole - slopes * cross, 0.0)
    return slopes, np.sqrt(np.divide(squares, freedom * inner, out=nothing.copy(), where=known))


def _likelihoods(products: Floats, dets: Floats, units: npt.NDArray[np.intp]) -> Floats:
    """Return the restricted log-likelihoods; a ridge replaces columns that span nothing."""
    design = products[:, :, :-1, :-1]
    scale = np.sqrt(np.einsum("gii->gi", design[0]))
    scale[scale == 0] = 1.0
    scaled = design / scale[:, :, None] / scale[:, None, :]
    rank = (np.linalg.eigvalsh(scaled[0]) > RIDGE).sum(axis=1)
    lower = np.linalg.cholesky(scaled + RIDGE * np.eye(scaled.shape[-1]))
    along = np.linalg.solve(lower, (products[:, :, :-1, -1] / scale)[..., None])[..., 0]
    whole = products[:, :, -1, -1]
    left = whole - (along**2).sum(axis=-1)
    freedom = units - rank
    enough = (freedom >= FEWEST_FREEDOM) & (left > 1e-9 * whole)
    logs = freedom * np.log(np.where(enough, left, 1.0)) + dets
    logs += 2 * np.log(np.einsum("cgii->cgi", lower)).sum(axis=-1)
    return np.where(enough.all(axis=0), -logs / 2, 0.0)


ACCURACY = 1e-10


@dataclass(frozen=True, slots=True, eq=False)
class SubsetMeans:
    """What ``paule_mandel`` gives for each subset; NaN where fewer than two groups are left.

    Attributes:
        estimates: (subsets,); ``standard_errors`` (subsets,) after Hartung and Knapp.
        groups: (subsets,) how many were pooled; the t has one degree of freedom less.
    """

    estimates: Floats
    standard_errors: Floats
    groups: npt.NDArray[np.intp]

    @property
    def p(self) -> Floats:
        """Two-sided, of each mean being 0."""
        t = np.abs(self.estimates / self.standard_errors)
        return np.asarray(2 * stdtr(self.groups - 1.0, -t), dtype=np.float64)


def means_of_subsets(
    estimates: npt.ArrayLike, standard_errors: npt.ArrayLike, used: npt.ArrayLike
) -> SubsetMeans:
    """Pool each subset of the estimates as ``paule_mandel`` does.

    The variance between groups comes from Newton's steps, upwards from 0, where the sum of
    weighted squares is convex and falls.

    Args:
        estimates: (groups,), or (subsets, groups) where they differ; NaN where there is none.
        standard_errors: the same shape, above 0, NaN where unknown.
        used: (subsets, groups) which groups a subset holds.

    Source: DerSimonian & Kacker 2007, Contemporary Clinical Trials 28:105-114 (the steps); else
    as of ``paule_mandel``.
    """
    chosen = np.asarray(used, dtype=bool)
    y = np.broadcast_to(np.asarray(estimates, dtype=np.float64), chosen.shape)
    s = np.broadcast_to(np.asarray(standard_errors, dtype=np.float64), chosen.shape)
    known = chosen & np.isfinite(y) & np.isfinite(s) & (s > 0)
    held, y, own = known.astype(np.float64), np.where(known, y, 0.0), np.where(known, s**2, 1.0)
    groups = held.sum(axis=1)
    enough = groups >= 2
    tau2, moving = np.zeros(len(held)), enough
    with np.errstate(divide="ignore", invalid="ignore"):
        while moving.any():
            weights, means, squares = _weighted(held, y, own, tau2)
            excess = (weights * squares).sum(axis=1) - (groups - 1)
            moving = enough & (excess > ACCURACY * groups)
            step = excess / (weights**2 * squares).sum(axis=1)
            tau2 = np.where(moving, tau2 + step, tau2)
        weights, means, squares = _weighted(held, y, own, tau2)
        factor = (weights * squares).sum(axis=1) / (groups - 1)
        errors = np.sqrt(np.maximum(1.0, factor) / weights.sum(axis=1))
    nothing = np.full(len(held), np.nan)
    return SubsetMeans(
        np.where(enough, means, nothing),
        np.where(enough, errors, nothing),
        groups.astype(np.intp),
    )


def _weighted(held: Floats, y: Floats, own: Floats, tau2: Floats) -> tuple[Floats, Floats, Floats]:
    weights = held / (own + tau2[:, None])
    means = (weights * y).sum(axis=1) / weights.sum(axis=1)
    return weights, means, (y - means[:, None]) ** 2


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
