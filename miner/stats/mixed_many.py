"""The profiled deviance of the mixed model at many covariances of the random effects at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from miner.stats.mixed_design import Floats
from miner.stats.mixed_products import CrossProducts

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
    upper = np.triu_indices(size)
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
