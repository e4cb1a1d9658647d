"""Outcomes like the observed ones in which nothing is true: same level, dependence and values."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from miner.stats.dependence import Dependence, correlation

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Pattern:
    """What one outcome looks like over time.

    Attributes:
        values: shape (n,), NaN unknown; a simulated outcome takes the same values in another
            order, so ties and skew stay as they are.
        fitted: shape (n,), normal scores foretold by the nuisance alone.
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
