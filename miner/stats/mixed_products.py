"""Cross-products of every group once its rows are whitened for dependence in time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from miner.stats.mixed_design import Design, Floats, Indices, gram, time_gaps


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


def cross_products(prepared: Design, phi: float) -> CrossProducts:
    """Whiten every group with correlation phi^|t_i - t_j| and sum its products.

    The Cholesky factor of that correlation is bidiagonal in its inverse, so that a row is
    whitened by the row before it: (w_i - rho_i w_{i-1}) / sqrt(1 - rho_i^2), rho_i = phi^gap_i.

    Source: Pinheiro & Bates 2000, Mixed-Effects Models in S and S-PLUS, sections 5.1.1 and 5.3.
    """
    rows, log_det = prepared.rows, 0.0
    if phi > 0 and prepared.gaps is not None:
        rows, log_det = _whiten(rows, prepared.gaps, phi)
    return CrossProducts(*_sums(rows, prepared.starts), log_det)


def whitened(rows: Floats, starts: Indices, clock: Floats, phi: float) -> tuple[Floats, float]:
    """Return rows (columns in time order within groups) whitened, and log det R.

    Args:
        rows: (k, units).
        starts: (groups,) first unit of each group.
        clock: (units,) time of each unit, rising within groups.
        phi: correlation of units one unit of time apart, above 0 and below 1.
    """
    return _whiten(rows, time_gaps(clock, starts), phi)


def _whiten(rows: Floats, gaps: Floats, phi: float) -> tuple[Floats, float]:
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
