"""The slope of a response on one column in every group by itself, all groups at once."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from miner.core.messages import Words, message
from miner.stats.mixed_products import whitened
from miner.stats.pooling import Floats, Pooled, paule_mandel, within_between

TIED = message("stats.same_time")


@dataclass(frozen=True, slots=True, eq=False)
class GroupSlopes:
    """One slope a group.

    Attributes:
        names: (groups,) sorted.
        slopes: (groups,) NaN where there is none.
        standard_errors: (groups,) from the group's own residual variance.
        freedom: (groups,) residual degrees of freedom.
        units: (groups,) units used.
        reasons: (groups,) why a group has no slope; "" where it has one.
    """

    names: npt.NDArray[np.generic]
    slopes: Floats
    standard_errors: Floats
    freedom: npt.NDArray[np.intp]
    units: npt.NDArray[np.intp]
    reasons: tuple[Words, ...]


def slopes_by_group(
    y: npt.ArrayLike,
    x: npt.ArrayLike,
    groups: npt.ArrayLike,
    *,
    nuisance: npt.ArrayLike | None = None,
    times: npt.ArrayLike | None = None,
    phi: float = 0.0,
    fewest_freedom: int = 3,
) -> GroupSlopes:
    """Regress y on x (and an intercept and nuisance columns) in every group by itself.

    Args:
        y: (units,) response, NaN where unknown; such units are left out.
        x: (units,) column whose slope is wanted, NaN where unknown; likewise.
        groups: (units,) the group of each unit.
        nuisance: (units, c) columns allowed for in every group where they vary, or None.
        times: (units,) time of each unit, needed where phi is not 0.
        phi: correlation of units one unit of time apart, the same in every group.
        fewest_freedom: groups with fewer residual degrees of freedom have no slope.

    Returns:
        The slopes. A group without one says why.

    Raises:
        ValueError: lengths differ, phi is outside 0..1, or times are missing where phi is not 0.
    """
    import pandas as pd

    response, column = np.asarray(y, dtype=np.float64), np.asarray(x, dtype=np.float64)
    codes, names = pd.factorize(np.asarray(groups), sort=True)
    clock = np.zeros(codes.size) if times is None else np.asarray(times, dtype=np.float64)
    other = np.empty((codes.size, 0)) if nuisance is None else np.asarray(nuisance, np.float64)
    if not response.size == column.size == codes.size == clock.size == other.shape[0]:
        raise ValueError("lengths differ")
    if not 0 <= phi < 1 or (phi > 0 and times is None):
        raise ValueError("phi not usable")
    known = np.isfinite(response) & np.isfinite(column) & np.isfinite(other).all(axis=1)
    tied = np.zeros(len(names), dtype=bool)
    if phi > 0:
        known &= np.isfinite(clock)
        tied = _tied(codes, clock, known, len(names))
    kept = np.flatnonzero(known & ~tied[codes])
    kept = kept[np.lexsort((clock[kept], codes[kept]))]
    rows = np.vstack([np.ones(codes.size), other.T, column, response])[:, kept]
    for row in rows[1:]:
        row[:] = within_between(row, codes[kept])[0]
    starts = np.flatnonzero(np.diff(codes[kept], prepend=-1))
    if phi > 0:
        rows = whitened(rows, starts, clock[kept], phi)[0]
    found = _solve(rows, starts, codes[kept][starts], np.asarray(names), fewest_freedom)
    reasons = [TIED if tie else why for tie, why in zip(tied, found.reasons, strict=True)]
    return replace(found, reasons=tuple(reasons))


def two_stage(
    y: npt.ArrayLike,
    x: npt.ArrayLike,
    groups: npt.ArrayLike,
    *,
    nuisance: npt.ArrayLike | None = None,
    times: npt.ArrayLike | None = None,
    phi: float = 0.0,
    fewest_freedom: int = 3,
    level: float = 0.95,
) -> tuple[Pooled, GroupSlopes]:
    """Return the random-effects mean of the slopes of all groups, and those slopes.

    Arguments as in ``slopes_by_group`` and ``paule_mandel``; groups without a slope are counted
    as left out, their reasons stand with the slopes.
    """
    slopes = slopes_by_group(
        y, x, groups, nuisance=nuisance, times=times, phi=phi, fewest_freedom=fewest_freedom
    )
    return paule_mandel(slopes.slopes, slopes.standard_errors, level=level), slopes


def _tied(
    codes: npt.NDArray[np.intp], clock: Floats, known: npt.NDArray[np.bool_], groups: int
) -> npt.NDArray[np.bool_]:
    order = np.lexsort((clock[known], codes[known]))
    group, time = codes[known][order], clock[known][order]
    tied = np.zeros(groups, dtype=bool)
    tied[group[1:][(np.diff(group) == 0) & (np.diff(time) == 0)]] = True
    return tied


def _solve(
    rows: Floats,
    starts: npt.NDArray[np.intp],
    present: npt.NDArray[np.intp],
    names: npt.NDArray[np.generic],
    fewest: int,
) -> GroupSlopes:
    size = rows.shape[0]
    products = np.zeros((names.size, size, size))
    for i in range(size):
        for j in range(i, size):
            products[present, i, j] = products[present, j, i] = np.add.reduceat(
                rows[i] * rows[j], starts
            )
    units = np.zeros(names.size, dtype=np.intp)
    units[present] = np.diff(np.append(starts, rows.shape[1]))
    last = size - 2
    inverse, rank = _inverse(products[:, :last, :last])
    crossed = products[:, :last, last:]
    left = products[:, last:, last:] - np.swapaxes(crossed, 1, 2) @ inverse @ crossed
    varies = left[:, 0, 0] > 1e-9 * products[:, last, last]
    freedom = units - rank - 1
    known = varies & (freedom >= max(fewest, 1))
    nothing = np.full(names.size, np.nan)
    slopes = np.divide(left[:, 0, 1], left[:, 0, 0], out=nothing.copy(), where=known)
    squares = np.maximum(left[:, 1, 1] - slopes * left[:, 0, 1], 0.0)
    below = np.where(known, freedom * left[:, 0, 0], np.nan)
    reasons = tuple(
        ""
        if ok
        else message("stats.too_few_units")
        if few
        else message("stats.column_does_not_vary")
        for ok, few in zip(known, freedom < max(fewest, 1), strict=True)
    )
    return GroupSlopes(names, slopes, np.sqrt(squares / below), freedom, units, reasons)


def _inverse(matrices: Floats) -> tuple[Floats, npt.NDArray[np.intp]]:
    size = np.sqrt(np.einsum("gii->gi", matrices))
    size[size == 0] = 1.0
    scaled = matrices / size[:, :, None] / size[:, None, :]
    inverse = np.linalg.pinv(scaled, rcond=1e-9, hermitian=True)
    rank = np.linalg.matrix_rank(scaled, tol=1e-9, hermitian=True)
    return inverse / size[:, :, None] / size[:, None, :], np.asarray(rank, dtype=np.intp)
