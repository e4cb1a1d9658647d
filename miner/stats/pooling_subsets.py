"""Random-effects means of many subsets of the same groups, all at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import stdtr

from miner.stats.pooling import Floats

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
