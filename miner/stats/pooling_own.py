"""Each group's own slope at several dependences, so that any of them can be left out exactly.

Units of one day share that day, and days depend on the days before: two units correlate as
w phi^|days apart|, the rest of a unit is its own. With one unit a day this is AR(1) beside noise.
How much units depend on each other is learned from many groups together. A slope that is to rest
on no other group's units is therefore kept for every dependence on a grid, beside its group's
likelihood there: whichever groups are left out, the others choose among theirs.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt

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

    The slope stands beside an intercept, as in ``two_stage``; the likelihood also beside the
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
    what was foretold of it, over its standard deviation, is white.

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
    """Return the restricted log-likelihoods; a ridge stands in for columns that span nothing."""
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
