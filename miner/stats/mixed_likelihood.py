"""The profiled deviance of the mixed model and its gradient, from per-group cross-products."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from miner.stats.mixed_design import CrossProducts, Floats


@dataclass(frozen=True, slots=True, eq=False)
class Evaluation:
    """The likelihood at one relative covariance of the random effects.

    Attributes:
        deviance: profiled -2 log-likelihood less its constants (restricted or not).
        slope: (2, 2) derivative of the deviance in the relative covariance D.
        slope_rss: (2, 2) derivative of the residual sum of squares in D.
        inverse: (p, p) inverse of X'V^-1 X, V the covariance over the residual variance.
        coefficients: (p,) generalised least squares coefficients.
        rss: residual sum of squares in the metric of V.
    """

    deviance: float
    slope: Floats
    slope_rss: Floats
    inverse: Floats
    coefficients: Floats
    rss: float


def covariance(theta: Floats) -> Floats:
    """Return D = L L' of theta = (l11, l21, l22), L lower triangular."""
    l11, l21, l22 = theta
    return np.array([[l11 * l11, l11 * l21], [l11 * l21, l21 * l21 + l22 * l22]])


def posterior(products: CrossProducts, D: Floats) -> tuple[Floats, Floats]:
    """Return K = (D^-1 + S)^-1 of every group, and det(I + S D), for a D that may be singular.

    For 2 x 2 matrices K = (D + det(D) adj(S)) / det(I + S D), which needs no inverse.

    Returns:
        (3, groups): K11, K12, K22; (groups,): the determinant.
    """
    s11, s12, s22 = products.within
    a, b, c = D[0, 0], D[0, 1], D[1, 1]
    det_D = max(a * c - b * b, 0.0)
    det = 1.0 + s11 * a + 2.0 * s12 * b + s22 * c + (s11 * s22 - s12 * s12) * det_D
    K = np.stack([a + det_D * s22, b - det_D * s12, c + det_D * s11]) / det
    return K, det


def evaluate(
    products: CrossProducts, theta: Floats, degrees: int, *, reml: bool, slopes: bool = True
) -> Evaluation:
    """Return the profiled deviance at theta and its derivatives.

    deviance = log det R + sum log det(I + S_g D) + degrees * log(rss) [+ log det X'V^-1 X],
    the bracket for the restricted likelihood; A'V^-1 A = A'R^-1 A - sum (Z'R^-1 A)'K(Z'R^-1 A).

    Args:
        products: per-group cross-products at one phi.
        theta: (3,) relative Cholesky factor (l11, l21, l22).
        degrees: units less fixed coefficients (restricted), or units.
        reml: restricted likelihood.
        slopes: find the derivatives too; without them they are 0.

    Returns:
        The evaluation; its deviance is inf where the likelihood is not defined.

    Source: Bates, Maechler, Bolker & Walker 2015, J Stat Softw 67(1), equations 39 to 42.
    """
    D = covariance(theta)
    K, det = posterior(products, D)
    size = products.total.shape[0]
    upper = _upper(size)
    explained = products.squares.reshape(upper[0].size, -1) @ K.ravel()
    moments = products.total.copy()
    moments[upper] -= explained
    moments.T[upper] = moments[upper]
    try:
        factor = np.linalg.cholesky(moments)
    except np.linalg.LinAlgError:
        return _undefined(size - 1)
    root = np.linalg.inv(factor[:-1, :-1])
    coefficients = root.T @ factor[-1, :-1]
    rss = float(factor[-1, -1] ** 2)
    deviance = products.log_det + float(np.log(det).sum()) + degrees * np.log(rss)
    if reml:
        deviance += 2 * float(np.log(np.diag(factor)[:-1]).sum())
    slope_rss, slope = np.zeros((2, 2)), np.zeros((2, 2))
    if slopes:
        slope_rss, slope = _slopes(products, D, det, coefficients, root if reml else root[:0])
        slope += degrees / rss * slope_rss
    return Evaluation(float(deviance), slope, slope_rss, root.T @ root, coefficients, rss)


def _slopes(
    products: CrossProducts, D: Floats, det: Floats, coefficients: Floats, root: Floats
) -> tuple[Floats, Floats]:
    s11, s12, s22 = products.within
    a, b, c = D[0, 0], D[0, 1], D[1, 1]
    m11, m12 = (1.0 + s12 * b + s22 * c) / det, -(s11 * b + s12 * c) / det
    m21, m22 = -(s12 * a + s22 * b) / det, (1.0 + s11 * a + s12 * b) / det
    z_e = np.append(-coefficients, 1.0) @ products.across
    slope_rss = -_squares(np.stack([m11 * z_e[0] + m12 * z_e[1], m21 * z_e[0] + m22 * z_e[1]]))
    both = float((m11 * s12 + m12 * s22).sum())
    first, second = float((m11 * s11 + m12 * s12).sum()), float((m21 * s12 + m22 * s22).sum())
    slope = np.array([[first, both], [both, second]])
    if root.size:
        fixed = root @ products.across[:, :-1]
        x1, x2 = m11 * fixed[0] + m12 * fixed[1], m21 * fixed[0] + m22 * fixed[1]
        slope -= _squares(np.stack([x1.ravel(), x2.ravel()]))
    return slope_rss, slope


def _squares(rows: Floats) -> Floats:
    return np.asarray(np.einsum("ag,bg->ab", rows, rows))


@lru_cache(maxsize=64)
def _upper(size: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    return np.triu_indices(size)


def _undefined(size: int) -> Evaluation:
    nothing = np.zeros((2, 2))
    unknown = np.full((size, size), np.nan)
    return Evaluation(np.inf, nothing, nothing, unknown, unknown[0], np.nan)


def in_theta(slope: Floats, theta: Floats) -> Floats:
    """Turn a derivative in D into one in (l11, l21, l22): 2 (dF/dD) L, lower triangle."""
    l11, l21, l22 = theta
    return 2.0 * np.array(
        [
            slope[0, 0] * l11 + slope[0, 1] * l21,
            slope[1, 0] * l11 + slope[1, 1] * l21,
            slope[1, 1] * l22,
        ]
    )


AT_ONCE = 40_000


@dataclass(frozen=True, slots=True, eq=False)
class Evaluations:
    """The likelihood at k relative covariances of the random effects.

    Attributes:
        deviance: (k,) as ``evaluate`` returns it; inf where the likelihood is not defined.
        inverse: (k, p, p) inverse of X'V^-1 X.
        coefficients: (k, p) generalised least squares coefficients.
        rss: (k,) residual sum of squares in the metric of V.
    """

    deviance: Floats
    inverse: Floats
    coefficients: Floats
    rss: Floats


def posteriors(products: CrossProducts, thetas: Floats) -> tuple[Floats, Floats]:
    """Return (k, 3, groups) K11, K12, K22 and (k, groups) det(I + S D), as ``posterior`` does.

    Args:
        products: per-group cross-products at one phi.
        thetas: (k, 3) relative Cholesky factors (l11, l21, l22).
    """
    s11, s12, s22 = products.within
    l11, l21, l22 = np.ascontiguousarray(thetas.T)[:, :, None]
    a, b, c = l11 * l11, l11 * l21, l21 * l21 + l22 * l22
    det_D = (l11 * l22) ** 2
    det = 1.0 + s11 * a + 2.0 * s12 * b + s22 * c + (s11 * s22 - s12 * s12) * det_D
    K = np.stack([a + det_D * s22, b - det_D * s12, c + det_D * s11], axis=1)
    return K / det[:, None], det


def evaluate_many(
    products: CrossProducts, thetas: Floats, degrees: int, *, reml: bool
) -> Evaluations:
    """Return what ``evaluate`` returns without derivatives, for every theta.

    Args:
        products: per-group cross-products at one phi.
        thetas: (k, 3) relative Cholesky factors (l11, l21, l22).
        degrees: units less fixed coefficients (restricted), or units.
        reml: restricted likelihood.
    """
    step = max(1, AT_ONCE // products.within.shape[1])
    parts = [_moments(products, thetas[at : at + step]) for at in range(0, len(thetas), step)]
    moments = np.concatenate([part[0] for part in parts])
    log_det = products.log_det + np.concatenate([part[1] for part in parts])
    factor, known = _factors(moments)
    root = np.linalg.inv(factor[:, :-1, :-1])
    coefficients = np.einsum("kji,kj->ki", root, factor[:, -1, :-1])
    rss = factor[:, -1, -1] ** 2
    deviance = log_det + degrees * np.log(rss)
    if reml:
        inner = np.diagonal(factor, axis1=1, axis2=2)[:, :-1]
        deviance = deviance + 2 * np.log(inner).sum(axis=1)
    inverse = np.einsum("kji,kjl->kil", root, root)
    return Evaluations(np.where(known, deviance, np.inf), inverse, coefficients, rss)


def _moments(products: CrossProducts, thetas: Floats) -> tuple[Floats, Floats]:
    K, det = posteriors(products, thetas)
    size = products.total.shape[0]
    upper = _upper(size)
    squares = products.squares.reshape(upper[0].size, -1)
    moments = np.repeat(products.total[None], len(thetas), axis=0)
    moments[:, upper[0], upper[1]] -= K.reshape(len(thetas), -1) @ squares.T
    moments[:, upper[1], upper[0]] = moments[:, upper[0], upper[1]]
    return moments, np.log(det).sum(axis=1)


def _factors(moments: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    known = np.ones(len(moments), dtype=np.bool_)
    try:
        return np.asarray(np.linalg.cholesky(moments), dtype=np.float64), known
    except np.linalg.LinAlgError:
        known = np.asarray(np.linalg.eigvalsh(moments)[:, 0] > 0, dtype=np.bool_)
        whole = np.where(known[:, None, None], moments, np.eye(moments.shape[1]))
        return np.asarray(np.linalg.cholesky(whole), dtype=np.float64), known
