"""Two-stage pooling: a slope in every group, within the group, then their random-effects mean."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from miner.core.messages import Words, message
from miner.stats.mixed_design import Panel, time_gaps, whitened

Floats = npt.NDArray[np.float64]


def within_between(x: npt.ArrayLike, groups: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Split a column into what differs within groups and what differs between them.

    Args:
        x: (units,) values; NaN where unknown, left out of the means and unknown in both parts.
        groups: (units,) the group of each unit.

    Returns:
        (units,) deviation from the mean of the group, and (units,) that mean.

    Source: Curran & Bauer 2011, Annual Review of Psychology 62:583-619.
    """
    import pandas as pd

    values = np.asarray(x, dtype=np.float64)
    codes, names = pd.factorize(np.asarray(groups))
    known = np.isfinite(values)
    counts = np.bincount(codes[known], minlength=len(names)).astype(np.float64)
    sums = np.bincount(codes[known], weights=values[known], minlength=len(names))
    means = np.divide(sums, counts, out=np.full(len(names), np.nan), where=counts > 0)
    between = np.where(known, means[codes], np.nan)
    return values - between, between


@dataclass(frozen=True, slots=True)
class Pooled:
    """A random-effects mean.

    Attributes:
        estimate: the mean over groups.
        standard_error: after the modified Hartung-Knapp adjustment.
        freedom: degrees of freedom of its t, groups less one.
        interval: limits at the asked level.
        p: two-sided, of the mean being 0.
        tau2: variance of the true values between groups (Paule-Mandel).
        spread: its square root, in the unit of the estimates.
        q: Hartung-Knapp variance factor before it is held to at least 1.
        groups: how many groups were pooled.
        left_out: how many had no usable value.
        problem: why nothing was fitted; "" if it was.
    """

    estimate: float
    standard_error: float
    freedom: int
    interval: tuple[float, float]
    p: float
    tau2: float
    spread: float
    q: float
    groups: int
    left_out: int
    problem: Words


def paule_mandel(
    estimates: npt.ArrayLike, standard_errors: npt.ArrayLike, *, level: float = 0.95
) -> Pooled:
    """Pool estimates with their standard errors.

    tau2 >= 0 solves sum w_i (y_i - m)^2 = k - 1 with w_i = 1 / (s_i^2 + tau2), m the weighted
    mean; 0 where the sum is smaller already. The variance of m is max(1, q) / sum w_i with
    q = sum w_i (y_i - m)^2 / (k - 1), its reference a t with k - 1 degrees of freedom.

    Args:
        estimates: (groups,) one value a group, NaN where it has none.
        standard_errors: (groups,) above 0, NaN where unknown; such groups are counted as left out.
        level: of the interval.

    Returns:
        The pooled mean; NaN and a reason where fewer than two groups can be pooled.

    Source: Paule & Mandel 1982, J Res Natl Bur Stand 87:377-385; Hartung & Knapp 2001,
    Stat Med 20:1771-1782; Rover, Knapp & Friede 2015, BMC Med Res Methodol 15:99.
    """
    from scipy.stats import t

    y, s = np.asarray(estimates, dtype=np.float64), np.asarray(standard_errors, dtype=np.float64)
    if y.shape != s.shape or y.ndim != 1:
        raise ValueError("lengths differ")
    used = np.isfinite(y) & np.isfinite(s) & (s > 0)
    y, s, left_out = y[used], s[used], int((~used).sum())
    k = int(y.size)
    if k < 2:
        nan = float("nan")
        problem = message("stats.too_few_groups", groups=k)
        return Pooled(nan, nan, 0, (nan, nan), nan, nan, nan, nan, k, left_out, problem)
    tau2 = _between_variance(y, s)
    mean, q = _mean_and_factor(y, s, tau2)
    error = float(np.sqrt(max(1.0, q) / (1 / (s**2 + tau2)).sum()))
    reach = float(t.ppf((1 + level) / 2, k - 1)) * error
    p = float(2 * t.sf(abs(mean) / error, k - 1))
    interval = (mean - reach, mean + reach)
    return Pooled(mean, error, k - 1, interval, p, tau2, tau2**0.5, q, k, left_out, "")


def _mean_and_factor(y: Floats, s: Floats, tau2: float) -> tuple[float, float]:
    weights = 1 / (s**2 + tau2)
    mean = float(weights @ y / weights.sum())
    return mean, float(weights @ (y - mean) ** 2 / (y.size - 1))


def _between_variance(y: Floats, s: Floats) -> float:
    from scipy.optimize import brentq

    if _mean_and_factor(y, s, 0.0)[1] <= 1:
        return 0.0
    highest = float(y.var(ddof=1))
    return float(
        brentq(
            lambda tau2: _mean_and_factor(y, s, tau2)[1] - 1,
            0.0,
            highest,
            xtol=1e-14 * highest,
            rtol=1e-13,
        )
    )


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
    panel: Panel,
    *,
    nuisance: npt.ArrayLike | None = None,
    phi: float = 0.0,
    fewest_freedom: int = 3,
) -> GroupSlopes:
    """Regress y on x (and an intercept and nuisance columns) in every group by itself.

    Args:
        y: (units,) response, NaN where unknown; such units are left out.
        x: (units,) column whose slope is wanted, NaN where unknown; likewise.
        panel: the groups of the units, and their times where phi is not 0.
        nuisance: (units, c) columns allowed for in every group where they vary, or None.
        phi: correlation of units one unit of time apart, the same in every group.
        fewest_freedom: groups with fewer residual degrees of freedom have no slope.

    Returns:
        The slopes. A group without one says why.

    Raises:
        ValueError: lengths differ, phi is outside 0..1, or times are missing where phi is not 0.
    """
    import pandas as pd

    response, column = np.asarray(y, dtype=np.float64), np.asarray(x, dtype=np.float64)
    codes, names = pd.factorize(np.asarray(panel.groups), sort=True)
    clock = np.asarray(np.zeros(codes.size) if panel.times is None else panel.times, np.float64)
    other = np.empty((codes.size, 0)) if nuisance is None else np.asarray(nuisance, np.float64)
    if not response.size == column.size == codes.size == clock.size == other.shape[0]:
        raise ValueError("lengths differ")
    if not 0 <= phi < 1 or (phi > 0 and panel.times is None):
        raise ValueError("phi not usable")
    known = np.isfinite(response) & np.isfinite(column) & np.isfinite(other).all(axis=1)
    tied = np.zeros(len(names), dtype=bool)
    if phi > 0:
        known &= np.isfinite(clock)
        twice = pd.DataFrame({"group": codes, "time": clock})[known].duplicated()
        tied[codes[known][twice]] = True
    kept = np.flatnonzero(known & ~tied[codes])
    kept = kept[np.lexsort((clock[kept], codes[kept]))]
    rows = np.vstack([np.ones(codes.size), other.T, column, response])[:, kept]
    for row in rows[1:]:
        row[:] = within_between(row, codes[kept])[0]
    starts = np.flatnonzero(np.diff(codes[kept], prepend=-1))
    if phi > 0:
        rows = whitened(rows, time_gaps(clock[kept], starts), phi)[0]
    found = _solve(rows, starts, codes[kept][starts], np.asarray(names), fewest_freedom)
    reasons = [TIED if tie else why for tie, why in zip(tied, found.reasons, strict=True)]
    return replace(found, reasons=tuple(reasons))


def two_stage(
    y: npt.ArrayLike, x: npt.ArrayLike, panel: Panel, *, phi: float = 0.0
) -> tuple[Pooled, GroupSlopes]:
    """Return the random-effects mean of the slopes of all groups, and those slopes.

    Arguments as in ``slopes_by_group``; groups without a slope are counted as left out, their
    reasons are with the slopes.
    """
    slopes = slopes_by_group(y, x, panel, phi=phi)
    return paule_mandel(slopes.slopes, slopes.standard_errors), slopes


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


def within_residual(
    x: npt.ArrayLike, groups: npt.ArrayLike, nuisance: npt.ArrayLike | None = None
) -> tuple[Floats, Floats]:
    """Return the residual of x on an intercept and the nuisance, fitted in every group by itself.

    A regression on that residual has the coefficient x has with the nuisance, whatever the
    nuisance does in each group.

    Args:
        x: (units,) every value known.
        groups: (units,) the group of each unit, in any order.
        nuisance: (units, c) every value known; a column that does not vary in a group, or that
            others span there, takes nothing more out.

    Returns:
        (units,) residuals, and (units,) the share of the variation about the mean of its group
        that is left in each unit's group; NaN where there is none to begin with.

    Raises:
        ValueError: arrays of different lengths, or unknown values.

    Source: Frisch & Waugh 1933, Econometrica 1:387-401; Lovell 1963, J Am Stat Assoc 58:993-1010.
    """
    import pandas as pd

    column = np.asarray(x, dtype=np.float64)
    codes, names = pd.factorize(np.asarray(groups))
    other = np.empty((column.size, 0)) if nuisance is None else np.asarray(nuisance, np.float64)
    if column.shape != codes.shape or other.shape[:1] != codes.shape:
        raise ValueError("lengths differ")
    if not (np.isfinite(column).all() and np.isfinite(other).all()):
        raise ValueError("values unknown")
    centred = within_between(column, codes)[0]
    rows = [within_between(part, codes)[0] for part in other.T]
    left = centred - _fitted(centred, rows, codes, len(names)) if rows else centred
    before = np.bincount(codes, centred**2, len(names))
    after = np.bincount(codes, left**2, len(names))
    share = np.divide(after, before, out=np.full(len(names), np.nan), where=before > 0)
    return left, share[codes]


def _fitted(y: Floats, rows: list[Floats], codes: npt.NDArray[np.intp], groups: int) -> Floats:
    size = len(rows)
    products = np.empty((groups, size, size))
    for i in range(size):
        for j in range(i, size):
            products[:, i, j] = products[:, j, i] = np.bincount(codes, rows[i] * rows[j], groups)
    along = np.stack([np.bincount(codes, row * y, groups) for row in rows], axis=1)
    coefficients = np.einsum("gij,gj->gi", _inverse(products)[0], along)
    return np.asarray(sum(coefficients[codes, i] * row for i, row in enumerate(rows)))


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
    """Return what is left of x with its group's level and nuisance, later units left aside.

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
    size = np.sqrt((other**2).sum(axis=0) / max(codes.size, 1))
    design = np.column_stack([np.ones(codes.size), (other / np.where(size > 0, size, 1.0))[order]])
    centred, found = column - column.mean(), np.empty(codes.size)
    for some in _whole_groups(np.flatnonzero(np.diff(codes, prepend=-1)), codes.size):
        z = _cleared(centred[some], design[some], codes[some], clock[some], reach)
        found[order[some]] = z * _first_stage(z, column[some], codes[some])
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
