"""Prepares clustered data for the mixed model: sorted, orthogonal, scaled.

Long sums are written with einsum, not as matrix products: a linear-algebra library splits those
over threads, which changes the last digits and waits where other programs share the machine.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from miner.core.messages import Message, message

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Panel:
    """Units in groups, in any order.

    Attributes:
        groups: (units,) the group of each unit.
        times: (units,) the time of each unit, or None where dependence is not modelled.
    """

    groups: npt.ArrayLike
    times: npt.ArrayLike | None = None


@dataclass(frozen=True, slots=True, eq=False)
class GroupedDesign:
    """Sorted rows in coordinates in which the likelihood is well conditioned.

    Attributes:
        rows: (2 + p + 1, units): random intercept, random slope (both scaled to a root mean
            square of 1), the p orthonormal fixed columns, and the response less its ordinary
            least squares fit.
        starts: (groups,) first row of each group.
        names: (groups,) the group each block of rows belongs to, sorted.
        gaps: (units,) time since the row before in the same group (inf for the first), or None.
        back: (p, p) turns coefficients of the orthonormal columns into the caller's.
        least_squares: (p,) ordinary least squares coefficients.
        scale: (2,) root mean square each random column was divided by.
        log_det_fixed: log determinant of X'X.
    """

    rows: Floats
    starts: Indices
    names: npt.NDArray[np.generic]
    gaps: Floats | None
    back: Floats
    least_squares: Floats
    scale: Floats
    log_det_fixed: float

    @property
    def units(self) -> int:
        """How many rows."""
        return int(self.rows.shape[1])

    @property
    def groups(self) -> int:
        """How many groups."""
        return self.starts.size

    @property
    def fixed(self) -> int:
        """How many fixed coefficients."""
        return int(self.rows.shape[0]) - 3

    def some_groups(self, most: int) -> GroupedDesign:
        """Return at most so many groups, evenly spread over all of them."""
        if self.groups <= most:
            return self
        chosen = np.linspace(0, self.groups - 1, most).astype(np.intp)
        ends = np.append(self.starts[1:], self.units)
        sizes = (ends - self.starts)[chosen]
        starts = np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(np.intp)
        kept = np.repeat(self.starts[chosen] - starts, sizes) + np.arange(sizes.sum())
        return replace(
            self,
            rows=np.ascontiguousarray(self.rows[:, kept]),
            starts=starts,
            names=self.names[chosen],
            gaps=None if self.gaps is None else self.gaps[kept],
        )


def design(
    y: npt.ArrayLike, X: npt.ArrayLike, panel: Panel, slope: npt.ArrayLike | None
) -> GroupedDesign | Message:
    """Sort by group and time and change to orthonormal coordinates.

    Args:
        y: (units,) response.
        X: (units, p) fixed design, with its own column of ones where an intercept is meant.
        panel: the groups and times of the units.
        slope: (units,) the column whose coefficient differs between groups, or None.

    Returns:
        The design, or why there is none.

    Raises:
        ValueError: the arrays differ in length.
    """
    response = np.asarray(y, dtype=np.float64)
    fixed = np.asarray(X, dtype=np.float64)
    column = np.zeros(response.size) if slope is None else np.asarray(slope, dtype=np.float64)
    clock = None if panel.times is None else np.asarray(panel.times, dtype=np.float64)
    codes, names = _codes(np.asarray(panel.groups))
    lengths = {response.shape, fixed.shape[:1], column.shape, codes.shape}
    if fixed.ndim != 2 or len(lengths) != 1 or (clock is not None and clock.shape != codes.shape):
        raise ValueError("lengths differ")
    checked = [response, column, *fixed.T] if clock is None else [response, column, clock, *fixed.T]
    if (codes < 0).any() or not all(np.isfinite(item).all() for item in checked):
        return message("stats.values_unknown")
    if response.size <= fixed.shape[1]:
        return message(
            "stats.too_few_for_coefficients", units=response.size, coefficients=fixed.shape[1]
        )
    order = _order(codes, clock)
    if order is not None:
        codes, response, column, fixed = codes[order], response[order], column[order], fixed[order]
        clock = None if clock is None else clock[order]
    starts = np.flatnonzero(np.diff(codes, prepend=-1))
    gaps = None if clock is None else time_gaps(clock, starts)
    if gaps is not None and gaps.min() <= 0:
        return message("stats.same_time_in_group")
    return _orthogonal(response, fixed, column, starts, names, gaps)


def _codes(groups: npt.NDArray[Any]) -> tuple[Indices, npt.NDArray[np.generic]]:
    """Return each unit's group by number, and the groups, sorted; quicker where they rise."""
    if groups.dtype.kind in "iu" and groups.ndim == 1 and (groups[1:] >= groups[:-1]).all():
        new = np.append(True, groups[1:] != groups[:-1])[: groups.size]
        return np.cumsum(new) - 1, groups[new]
    import pandas as pd

    codes, names = pd.factorize(groups, sort=True)
    return np.asarray(codes, dtype=np.intp), np.asarray(names)


def _order(codes: Indices, clock: Floats | None) -> Indices | None:
    step = np.diff(codes)
    if (step >= 0).all() and (clock is None or (np.diff(clock)[step == 0] >= 0).all()):
        return None
    return np.argsort(codes, kind="stable") if clock is None else np.lexsort((clock, codes))


def time_gaps(clock: Floats, starts: Indices) -> Floats:
    """Return (units,) the time since the row before, inf for the first row of each group."""
    gaps = np.diff(clock, prepend=clock[0])
    gaps[starts] = np.inf
    return gaps


def _orthogonal(
    response: Floats,
    fixed: Floats,
    column: Floats,
    starts: Indices,
    names: npt.NDArray[np.generic],
    gaps: Floats | None,
) -> GroupedDesign | Message:
    size = np.sqrt(np.einsum("ij,ij->j", fixed, fixed))
    if (size == 0).any():
        return message("stats.column_is_zero")
    scaled = np.ascontiguousarray((fixed / size).T)
    products = gram(scaled)
    singular = np.sqrt(np.abs(np.linalg.eigvalsh(products)))
    if singular[0] < 1e-7 * singular[-1]:
        return message("stats.columns_not_apart")
    basis, back, log_det = scaled, np.eye(size.size), 2 * float(np.log(size).sum())
    for again in (False, True):
        lower = np.linalg.cholesky(gram(basis) if again else products)
        step = np.linalg.inv(lower).T
        basis, back = _times(step.T, basis), back @ step
        log_det += 2 * float(np.log(np.diag(lower)).sum())
    back /= size[:, None]
    along = np.einsum("in,n->i", basis, response)
    scale = np.array([1.0, np.sqrt((column**2).mean()) or 1.0])
    rows = np.empty((3 + basis.shape[0], response.size))
    rows[0], rows[1] = 1.0, column / scale[1]
    rows[2:-1] = basis
    rows[-1] = response - np.einsum("i,in->n", along, basis)
    if (rows[-1] ** 2).sum() <= 1e-22 * (response**2).sum():
        return message("stats.response_does_not_vary")
    return GroupedDesign(rows, starts, names, gaps, back, back @ along, scale, log_det)


def gram(rows: Floats) -> Floats:
    """Return the products of every row with every other."""
    return np.asarray(np.einsum("in,jn->ij", rows, rows))


def _times(matrix: Floats, rows: Floats) -> Floats:
    return np.asarray(np.einsum("ij,jn->in", matrix, rows))


@dataclass(frozen=True, slots=True, eq=False)
class CrossProducts:
    """What the likelihood needs of each group once its rows are whitened.

    Attributes:
        within: (3, groups) Z'R^-1 Z: intercept with intercept, with slope, slope with slope.
        across: (2, p + 1, groups) Z'R^-1 [X y].
        squares: ((p + 1)(p + 2) / 2, 3, groups) products of ``across`` with itself, upper triangle.
        total: (p + 1, p + 1) sum over groups of [X y]'R^-1 [X y].
        log_det: sum over groups of log det R.
    """

    within: Floats
    across: Floats
    squares: Floats
    total: Floats
    log_det: float


def cross_products(prepared: GroupedDesign, phi: float) -> CrossProducts:
    """Whiten every group with correlation phi^|t_i - t_j| and sum its products.

    The Cholesky factor of that correlation is bidiagonal in its inverse, so that a row is
    whitened by the row before it: (w_i - rho_i w_{i-1}) / sqrt(1 - rho_i^2), rho_i = phi^gap_i.

    Source: Pinheiro & Bates 2000, Mixed-Effects Models in S and S-PLUS, sections 5.1.1 and 5.3.
    """
    rows, log_det = prepared.rows, 0.0
    if phi > 0 and prepared.gaps is not None:
        rows, log_det = whitened(rows, prepared.gaps, phi)
    return CrossProducts(*_sums(rows, prepared.starts), log_det)


def whitened(rows: Floats, gaps: Floats, phi: float) -> tuple[Floats, float]:
    """Return rows (columns in time order within groups) whitened, and log det R.

    Args:
        rows: (k, units).
        gaps: (units,) as of ``time_gaps``.
        phi: correlation of units one unit of time apart, above 0 and below 1.
    """
    rho = phi**gaps
    left = 1.0 - rho**2
    white = rows.copy()
    white[:, 1:] -= rho[1:] * rows[:, :-1]
    white /= np.sqrt(left)
    return white, float(np.log(left).sum())


def _sums(rows: Floats, starts: Indices) -> tuple[Floats, Floats, Floats, Floats]:
    random, other = rows[:2], rows[2:]
    pairs = ((0, 0), (0, 1), (1, 1))
    within = np.stack([np.add.reduceat(random[i] * random[j], starts) for i, j in pairs])
    across = np.empty((2, other.shape[0], starts.size))
    for i in range(2):
        for j, column in enumerate(other):
            across[i, j] = np.add.reduceat(random[i] * column, starts)
    first, second = across
    squares = np.empty((other.shape[0] * (other.shape[0] + 1) // 2, 3, starts.size))
    pairs_of = [(i, j) for i in range(other.shape[0]) for j in range(i, other.shape[0])]
    for k, (i, j) in enumerate(pairs_of):
        squares[k, 0] = first[i] * first[j]
        squares[k, 1] = first[i] * second[j] + second[i] * first[j]
        squares[k, 2] = second[i] * second[j]
    return within, across, squares, gram(other)
