"""Each group's own slope at several dependences, so that any of them can be left out exactly.

How much units of one group depend on each other is learned from many groups together. A slope
that is to rest on no other group's units is therefore kept for every dependence on a grid, beside
its group's likelihood there: whichever groups are left out, the others choose among theirs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from miner.stats.mixed_design import time_gaps
from miner.stats.pooling import Floats, within_between

PHIS = np.array([0.0, 0.2, 0.4, 0.6, 0.8])
FEWEST_FREEDOM = 3
MINUTE = 1 / 1440


@dataclass(frozen=True, slots=True, eq=False)
class SlopesByPhi:
    """Slopes at each dependence of ``PHIS``, by group, in the order of the groups' names.

    Attributes:
        slopes: (phis, groups) NaN where a group has none.
        errors: (phis, groups) their standard errors.
        likelihoods: (phis, groups) restricted log-likelihood of the group's units; 0 where a
            group has too few.
    """

    slopes: Floats
    errors: Floats
    likelihoods: Floats


def slopes_by_phi(
    y: npt.ArrayLike,
    x: npt.ArrayLike,
    groups: npt.ArrayLike,
    nuisance: npt.ArrayLike,
    times: npt.ArrayLike,
) -> SlopesByPhi:
    """Regress y on x in every group by itself, for each correlation phi^|t_i - t_j| of a grid.

    The slope stands beside an intercept, as in ``two_stage``; the likelihood also beside the
    nuisance, so that a drift is not taken for dependence.

    Args:
        y: (units,) every value known, as of all arguments.
        x: (units,) cleared of the nuisance.
        groups: (units,) the group of each unit.
        nuisance: (units, c) allowed for in every group.
        times: (units,) days; two of a group at one time are taken as a minute apart.

    Source: Patterson & Thompson 1971, Biometrika 58:545-554 (restricted likelihood).
    """
    import pandas as pd

    clock = np.asarray(times, dtype=np.float64)
    codes, names = pd.factorize(np.asarray(groups), sort=True)
    order = np.lexsort((clock, codes))
    codes, clock = codes[order], clock[order]
    columns = [np.asarray(x, np.float64), *np.asarray(nuisance, np.float64).T, np.asarray(y)]
    inside = [within_between(column[order], codes)[0] for column in columns]
    rows = np.vstack([np.ones(codes.size), *inside])
    starts = np.flatnonzero(np.diff(codes, prepend=-1))
    gaps = np.maximum(time_gaps(clock, starts), MINUTE)
    units = np.bincount(codes, minlength=len(names))
    shape = (PHIS.size, len(names))
    found = SlopesByPhi(np.full(shape, np.nan), np.full(shape, np.nan), np.zeros(shape))
    scale = rank = None
    for at, phi in enumerate(PHIS.tolist()):
        rho = phi**gaps
        white = rows.copy()
        white[:, 1:] -= rho[1:] * rows[:, :-1]
        white /= np.sqrt(1 - rho**2)
        products = _products(white, starts)
        if scale is None or rank is None:
            scale = np.sqrt(np.einsum("gii->gi", products[:, :-1, :-1]))
            scale[scale == 0] = 1.0
            rank = _eigen(products, scale)[0] > 1e-9
        found.slopes[at], found.errors[at] = _slopes(products, units)
        dets = np.add.reduceat(np.log(1 - rho**2), starts)
        found.likelihoods[at] = _likelihoods(products, scale, rank, units, dets)
    return found


def at_common_phi(found: SlopesByPhi, used: npt.NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Return slopes and standard errors at the dependence that the groups of a subset agree on.

    It is where a parabola through the best three points of the grid is highest; slopes between
    two points of the grid lie on a line.

    Args:
        found: of all groups.
        used: (subsets, groups).

    Returns:
        (subsets, groups) each.
    """
    total = used.astype(np.float64) @ found.likelihoods.T
    middle = np.clip(total.argmax(axis=1), 1, PHIS.size - 2)
    low, at, high = (total[np.arange(len(total)), middle + step] for step in (-1, 0, 1))
    step, bend = PHIS[1], low - 2 * at + high
    turn = np.divide(low - high, 2 * bend, out=np.zeros(len(total)), where=bend < 0)
    phi = np.clip(PHIS[middle] + step * np.clip(turn, -1, 1), 0.0, PHIS[-1])
    left = np.minimum((phi / step).astype(np.intp), PHIS.size - 2)
    share = (phi / step - left)[:, None]
    slopes, errors = (
        (1 - share) * values[left] + share * values[left + 1]
        for values in (found.slopes, found.errors)
    )
    return slopes, errors


def _products(rows: Floats, starts: npt.NDArray[np.intp]) -> Floats:
    size = len(rows)
    products = np.empty((starts.size, size, size))
    for i in range(size):
        for j in range(i, size):
            products[:, i, j] = products[:, j, i] = np.add.reduceat(rows[i] * rows[j], starts)
    return products


def _slopes(products: Floats, units: npt.NDArray[np.intp]) -> tuple[Floats, Floats]:
    ones = products[:, 0, :] / np.sqrt(products[:, 0, 0, None])
    own = products[:, [1, -1], :] - ones[:, [1, -1], None] * ones[:, None, :]
    inner, cross, whole, freedom = own[:, 0, 1], own[:, 0, -1], own[:, 1, -1], units - 2
    known = (inner > 1e-9 * units) & (freedom >= FEWEST_FREEDOM)
    nothing = np.full(units.size, np.nan)
    slopes = np.divide(cross, inner, out=nothing.copy(), where=known)
    squares = np.maximum(whole - slopes * cross, 0.0)
    return slopes, np.sqrt(np.divide(squares, freedom * inner, out=nothing.copy(), where=known))


def _eigen(products: Floats, scale: Floats) -> tuple[Floats, Floats]:
    scaled = products[:, :-1, :-1] / scale[:, :, None] / scale[:, None, :]
    values, vectors = np.linalg.eigh(scaled)
    along = np.einsum("gij,gi->gj", vectors, products[:, :-1, -1] / scale)
    return values, along


def _likelihoods(
    products: Floats,
    scale: Floats,
    rank: npt.NDArray[np.bool_],
    units: npt.NDArray[np.intp],
    dets: Floats,
) -> Floats:
    values, along = _eigen(products, scale)
    values = np.where(rank, np.maximum(values, 1e-12), 1.0)
    whole = products[:, -1, -1]
    left = whole - (np.where(rank, along, 0.0) ** 2 / values).sum(axis=1)
    freedom = units - rank.sum(axis=1)
    enough = (freedom >= FEWEST_FREEDOM) & (left > 1e-12 * whole)
    logs = freedom * np.log(np.where(enough, left, 1.0)) + dets + np.log(values).sum(axis=1)
    return np.where(enough, -logs / 2, 0.0)
