"""Clears a column of each group's own level without the units that may have reacted to it.

Where a habit reacts to yesterday's outcome, the group's mean of the habit already holds what the
outcome did: taken out of every unit it leaves a difference where there is none, however many
groups there are.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from miner.stats.pooling import Floats

Indices = npt.NDArray[np.intp]
AT_ONCE = 10_000


def predetermined(
    x: npt.ArrayLike,
    groups: npt.ArrayLike,
    nuisance: npt.ArrayLike | None = None,
    *,
    times: npt.ArrayLike,
    reach: float,
) -> Floats:
    """Return what is left of x beside its group's level and nuisance, later units left aside.

    z_t = x_t - n_t' sum over s of G_s^-1 n_s x_s, the sum without the s that come up to ``reach``
    after t, n the intercept and the nuisance, G_s the sum of n n' over the units of the group but
    those up to ``reach`` before s. So z is orthogonal to the nuisance in every group, and z_t
    depends on no x between t and t + reach: an x that reacts to y within that time leaves z_t
    alone. Each group is then scaled so that a regression on z has the coefficient of x (an
    instrumental variable, z for x).

    Args:
        x: (units,) every value known.
        groups: (units,) the group of each unit, in any order.
        nuisance: (units, c) every value known, or None.
        times: (units,) time of each unit.
        reach: how long x may react to y, in the unit of time; 0 gives the ordinary residual of
            least squares in every group.

    Returns:
        (units,); 0 in a group where nothing is left.

    Raises:
        ValueError: arrays of different lengths, or unknown values.

    Source: Nickell 1981, Econometrica 49:1417-1426 (the bias); Arellano & Bover 1995, J
    Econometrics 68:29-51 (differences from other units alone, for columns set beforehand).
    """
    import pandas as pd

    column, clock = np.asarray(x, dtype=np.float64), np.asarray(times, dtype=np.float64)
    codes = np.asarray(pd.factorize(np.asarray(groups))[0], dtype=np.intp)
    other = np.empty((column.size, 0)) if nuisance is None else np.asarray(nuisance, np.float64)
    if not column.shape == codes.shape == clock.shape == other.shape[:1]:
        raise ValueError("lengths differ")
    if not all(np.isfinite(item).all() for item in (column, clock, other)):
        raise ValueError("values unknown")
    order = np.lexsort((clock, codes))
    codes, clock, column = codes[order], clock[order], column[order]
    design = np.column_stack([np.ones(codes.size), _scaled(other[order])])
    found = np.empty(codes.size)
    found[order] = _left(column, design, codes, clock, reach)
    return found


def _scaled(columns: Floats) -> Floats:
    if not columns.size:
        return columns
    size = np.sqrt((columns**2).mean(axis=0))
    return columns / np.where(size > 0, size, 1.0)


def _left(x: Floats, design: Floats, codes: Indices, clock: Floats, reach: float) -> Floats:
    centred = x - x.mean()
    starts = np.flatnonzero(np.diff(codes, prepend=-1))
    found = np.empty_like(x)
    for some in _whole_groups(starts, codes.size):
        z = _cleared(centred[some], design[some], codes[some], clock[some], reach)
        found[some] = z * _first_stage(z, x[some], codes[some])
    return found


def _whole_groups(starts: Indices, units: int) -> list[slice]:
    """Cut the units into parts of whole groups, about AT_ONCE in each: memory stays small."""
    parts = np.unique(starts // AT_ONCE, return_index=True)[1]
    bounds = [*starts[parts].tolist(), units]
    return [slice(begin, end) for begin, end in pairwise(bounds)]


def _cleared(x: Floats, design: Floats, codes: Indices, clock: Floats, reach: float) -> Floats:
    starts = np.flatnonzero(np.diff(codes, prepend=-1))
    at = np.searchsorted(codes[starts], codes)
    first, last = starts[at], np.append(starts[1:], codes.size)[at]
    before, after = _within_reach(codes, clock, reach)
    own = np.arange(codes.size)
    products = _running(np.einsum("ni,nj->nij", design, design))
    G = products[last] - products[first] - products[own] + products[before]
    inverse = np.linalg.pinv(G, rcond=1e-9, hermitian=True)
    total = _running(np.einsum("nij,nj->ni", inverse, design) * x[:, None])
    drawn = total[last] - total[first] - (total[after] - total[own + 1])
    return np.asarray(x - np.einsum("ni,ni->n", design, drawn))


def _within_reach(codes: Indices, clock: Floats, reach: float) -> tuple[Indices, Indices]:
    """Return the first unit of the group from t - reach on, the end of those up to t + reach."""
    span = float(np.ptp(clock)) + 2 * reach + 1.0
    along = codes * span + (clock - clock.min())
    before = np.searchsorted(along, along - reach, side="left")
    after = np.searchsorted(along, along + reach, side="right")
    return np.asarray(before, dtype=np.intp), np.asarray(after, dtype=np.intp)


def _running(values: Floats) -> Floats:
    return np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)])


def _first_stage(z: Floats, x: Floats, codes: Indices) -> Floats:
    starts = np.flatnonzero(np.diff(codes, prepend=-1))
    along, size = np.add.reduceat(z * x, starts), np.add.reduceat(z * z, starts)
    enough = size > 1e-9 * np.add.reduceat(np.ones(x.size), starts)
    scale = np.divide(along, size, out=np.zeros(size.size), where=enough)
    return np.asarray(np.repeat(scale, np.diff(starts, append=x.size)))
