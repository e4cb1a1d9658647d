"""How units depend on each other in time, how to take that out, and how to imitate it.

The correlation of two units d days apart is ``w phi^d``; of a unit with itself 1. ``1 - w`` is
the unit's own variation. For meals d is 0 within a day, so ``w`` is the share of the day. Days are
the case of one unit a day.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

Floats = NDArray[np.float64]

PHI_GRID = tuple(np.round(np.arange(0.0, 0.91, 0.1), 2))
W_GRID = tuple(np.round(np.arange(0.0, 1.01, 0.1), 2))


@dataclass(frozen=True, slots=True)
class Dependence:
    """Day-to-day correlation ``phi`` and its share ``w`` of the variance."""

    phi: float
    w: float


@dataclass(frozen=True, slots=True)
class Spectrum:
    """Eigenvectors (k, n, n) and eigenvalues (k, n) of ``phi^|t_i - t_j|`` for k values of phi.

    Made once for the times of one set of units, it serves every outcome known on that set.
    """

    phi: Floats
    vectors: Floats
    values: Floats


def correlation(times: Floats, phi: float, w: float) -> Floats:
    """Return ``w phi^|t_i - t_j| + (1 - w) I``, shape (n, n).

    Args:
        times: shape (n,), days; equal for units of one day.
        phi: correlation from one day to the next, 0 <= phi < 1.
        w: share of the variance that depends on the day, 0 <= w <= 1.

    Source: first-order autoregression in exponential form for unequal spacing; Diggle, Heagerty,
    Liang & Zeger 2002, Analysis of Longitudinal Data, section 5.2.
    """
    matrix = w * _decay(times, phi)
    np.fill_diagonal(matrix, 1.0)
    return matrix


def spectrum(times: Floats, phi_grid: tuple[float, ...] = PHI_GRID) -> Spectrum:
    """Decompose ``phi^|t_i - t_j|`` once for every phi of the grid.

    Args:
        times: shape (n,), days.
        phi_grid: shape (k,), values of phi.
    """
    stack = np.stack([_decay(times, phi) for phi in phi_grid])
    values, vectors = np.linalg.eigh(stack)
    return Spectrum(np.asarray(phi_grid), vectors, np.maximum(values, 0.0))


def fit(
    basis: Spectrum, outcomes: Floats, nuisance: Floats, w_grid: tuple[float, ...] = W_GRID
) -> list[Dependence]:
    """Find phi and w for each outcome by restricted likelihood over the grid.

    Args:
        basis: from :func:`spectrum`, for the same n units.
        outcomes: shape (n, m), a column an outcome.
        nuisance: shape (n, p), full column rank, the intercept among them.
        w_grid: values of w.

    Returns:
        One :class:`Dependence` an outcome; of equal likelihoods the first of the grid, that is
        the least dependence.

    Source: Patterson & Thompson 1971, Biometrika 58:545; Harville 1974, Biometrika 61:383.
    """
    loglik = restricted_loglik(basis, outcomes, nuisance, w_grid)
    found = []
    for surface in np.moveaxis(loglik, 2, 0):
        phi_at, w_at = np.unravel_index(int(np.argmax(surface)), surface.shape)
        found.append(Dependence(float(basis.phi[phi_at]), float(w_grid[w_at])))
    return found


def restricted_loglik(
    basis: Spectrum, outcomes: Floats, nuisance: Floats, w_grid: tuple[float, ...] = W_GRID
) -> Floats:
    """Return the profiled restricted log-likelihood, up to a constant, shape (k, g, m).

    Args:
        basis: k values of phi, n units.
        outcomes: shape (n, m).
        nuisance: shape (n, p).
        w_grid: g values of w. Where a correlation is singular the likelihood is -inf.
    """
    n, p = nuisance.shape
    w = np.asarray(w_grid)[None, :, None]
    variance = w * basis.values[:, None, :] + (1 - w)
    singular = variance.min(axis=2) < 1e-8
    variance = np.where(singular[:, :, None], 1.0, variance)
    turned = np.swapaxes(basis.vectors, 1, 2) @ np.hstack([nuisance, outcomes])
    weighted = turned[:, None] / variance[..., None]
    products = np.swapaxes(weighted, 2, 3) @ turned[:, None]
    cross = products[..., :p, p:]
    inner = products[..., :p, :p]
    explained = np.einsum("kgpm,kgpm->kgm", cross, np.linalg.solve(inner, cross))
    residual = np.diagonal(products[..., p:, p:], axis1=2, axis2=3) - explained
    total = np.diagonal(products[..., p:, p:], axis1=2, axis2=3)
    residual = np.maximum(residual, 1e-12 * np.maximum(total, 1e-300))
    loglik: Floats = -0.5 * (
        np.log(variance).sum(axis=2)[..., None]
        + np.linalg.slogdet(inner)[1][..., None]
        + (n - p) * np.log(residual)
    )
    loglik[singular] = -np.inf
    return loglik


def whiten(times: Floats, dependence: Dependence, columns: Floats) -> Floats:
    """Return ``L^-1 columns`` with ``L L' = correlation``: units that no longer depend.

    Args:
        times: shape (n,), days, in time order.
        dependence: as fitted.
        columns: shape (n, m).
    """
    lower = np.linalg.cholesky(correlation(times, dependence.phi, dependence.w))
    white: Floats = solve_triangular(lower, columns, lower=True, check_finite=False)
    return white


def _decay(times: Floats, phi: float) -> Floats:
    distance = np.abs(times[:, None] - times[None, :])
    decay: Floats = np.where(distance == 0, 1.0, np.power(float(phi), distance))
    return decay


@dataclass(frozen=True, slots=True)
class Pattern:
    """What one outcome looks like over time.

    Attributes:
        values: shape (n,), NaN unknown; a simulated outcome takes the same values in another
            order, so ties and skew stay as they are.
        fitted: shape (n,), normal scores predicted by the nuisance alone.
        spread: SD of the scores around that.
        dependence: of the scores in time.
    """

    values: Floats
    fitted: Floats
    spread: float
    dependence: Dependence


def imitate(
    patterns: list[Pattern], times: Floats, together: Floats, rng: np.random.Generator
) -> list[Floats]:
    """Draw every outcome once, shape (n,) each, NaN where the observed one is unknown.

    Args:
        patterns: one an outcome, m of them.
        times: shape (n,), days.
        together: shape (m, m), correlation of the outcomes' scatter on one unit.
        rng: the source of chance.
    """
    root = _root(together)
    scatter = root @ rng.normal(size=(len(patterns), len(times)))
    drawn = []
    for pattern, noise in zip(patterns, scatter, strict=True):
        lower = np.linalg.cholesky(
            correlation(times, pattern.dependence.phi, pattern.dependence.w)
            + 1e-9 * np.eye(len(times))
        )
        latent = pattern.fitted + pattern.spread * (lower @ noise)
        drawn.append(_values_in_order(pattern.values, latent))
    return drawn


def scatter_together(columns: Floats) -> Floats:
    """Return the correlation of whitened residuals, shape (m, m), pairwise over known units.

    Args:
        columns: shape (n, m), NaN unknown.
    """
    known = ~np.isnan(columns)
    filled = np.where(known, columns, 0.0)
    cross = filled.T @ filled
    own = np.square(filled).T @ known
    with np.errstate(invalid="ignore", divide="ignore"):
        together = cross / np.sqrt(own * own.T)
    together = np.nan_to_num(together)
    np.fill_diagonal(together, 1.0)
    result: Floats = together
    return result


def _values_in_order(values: Floats, latent: Floats) -> Floats:
    known = ~np.isnan(values)
    order = np.argsort(np.argsort(latent[known], kind="stable"), kind="stable")
    out = np.full(len(values), np.nan)
    out[known] = np.sort(values[known])[order]
    return out


def _root(together: Floats) -> Floats:
    size, vectors = np.linalg.eigh(together)
    root = vectors * np.sqrt(np.maximum(size, 0.0))
    length = np.linalg.norm(root, axis=1, keepdims=True)
    scaled: Floats = root / np.where(length > 0, length, 1.0)
    return scaled
