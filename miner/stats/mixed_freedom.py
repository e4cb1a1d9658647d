"""Degrees of freedom of mixed-model coefficients after Satterthwaite."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from miner.stats.mixed_design import Floats
from miner.stats.mixed_likelihood import Evaluation, in_theta
from miner.stats.mixed_optimise import Likelihood, active, curvature

PHI_STEP = 1e-3


def satterthwaite(
    likelihood: Likelihood,
    theta: Floats,
    back: Floats,
    phi: float | None,
    at_phi: Callable[[float], Likelihood],
) -> Floats:
    """Return the degrees of freedom of every coefficient.

    df_j = 2 v_j^2 / (g'A g), v_j the squared standard error, g its derivative in the covariance
    parameters (theta off the boundary, phi where it was estimated, the residual variance) and A
    their covariance, twice the inverse second derivative of the deviance.

    Args:
        likelihood: the deviance at the estimated phi.
        theta: (3,) relative Cholesky factor of least deviance.
        back: (p, p) turns coefficients of the orthonormal columns into the caller's.
        phi: the estimated dependence, or None where it was held fixed or is on its boundary.
        at_phi: gives the deviance at another phi.

    Returns:
        (p,), NaN where the curvature does not let them be found.

    Source: Satterthwaite 1946, Biometrics Bulletin 2:110-114; Giesbrecht & Burns 1985,
    Biometrics 41:477-486; Kuznetsova, Brockhoff & Christensen 2017, J Stat Softw 82(13).
    """
    here = likelihood.at(theta)
    residual = here.rss / likelihood.degrees
    moving = list(active(likelihood, theta))
    size = len(moving) + (phi is not None) + 1
    matrix, slopes = np.zeros((size, size)), np.zeros((size, back.shape[0]))
    matrix[-1, -1] = likelihood.degrees / residual**2
    matrix[: len(moving), : len(moving)] = curvature(likelihood, theta, residual)
    matrix[: len(moving), -1] = -in_theta(here.slope_rss, theta)[moving] / residual**2
    variances = _squared_errors(here, back) * residual
    slopes[-1] = variances / residual
    for row, i in enumerate(moving):
        step = 1e-4 * max(abs(theta[i]), 0.1)
        sides = [_squared_errors(likelihood.at(_moved(theta, i, s)), back) for s in (step, -step)]
        slopes[row] = residual * (sides[0] - sides[1]) / (2 * step)
    if phi is not None:
        column, slopes[-2] = _in_phi(here, theta, moving, residual, back, phi, at_phi)
        matrix[: len(moving), -2], matrix[-2, -2:] = column[:-2], column[-2:]
    upper = np.triu(matrix)
    return _freedom(upper + np.triu(matrix, 1).T, slopes, variances)


def _freedom(matrix: Floats, slopes: Floats, variances: Floats) -> Floats:
    scale = np.sqrt(np.abs(np.diag(matrix)))
    if not (np.isfinite(matrix).all() and (scale > 0).all()):
        return np.full(variances.shape, np.nan)
    values, vectors = np.linalg.eigh(matrix / np.outer(scale, scale))
    kept = values > 1e-8
    turned = vectors[:, kept].T @ (slopes / scale[:, None])
    return np.asarray(variances**2 / (turned**2 / values[kept, None]).sum(axis=0))


def _squared_errors(found: Evaluation, back: Floats) -> Floats:
    return np.asarray(np.einsum("ij,jk,ik->i", back, found.inverse, back))


def _moved(theta: Floats, i: int, step: float) -> Floats:
    moved = theta.copy()
    moved[i] += step
    return moved


def _in_phi(
    here: Evaluation,
    theta: Floats,
    moving: list[int],
    residual: float,
    back: Floats,
    phi: float,
    at_phi: Callable[[float], Likelihood],
) -> tuple[Floats, Floats]:
    step = min(PHI_STEP, phi / 2, (1 - phi) / 2)
    sides = [at_phi(phi + step), at_phi(phi - step)]
    degrees = sides[0].degrees
    found = [side.at(theta) for side in sides]

    def held(one: Evaluation) -> float:
        return float(one.deviance - degrees * np.log(one.rss) + one.rss / residual)

    def slope(one: Evaluation) -> Floats:
        full = one.slope + (1 / residual - degrees / one.rss) * one.slope_rss
        return in_theta(full, theta)[moving]

    high, low = found
    across = (slope(high) - slope(low)) / (2 * step)
    twice = (held(high) - 2 * held(here) + held(low)) / step**2
    with_residual = -(high.rss - low.rss) / (2 * step) / residual**2
    errors = residual * (_squared_errors(high, back) - _squared_errors(low, back)) / (2 * step)
    return np.concatenate([across, [twice, with_residual]]), errors
