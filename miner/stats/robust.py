"""A standard error that holds where the units do not all vary alike, with few units."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

NOTHING_LEFT = 1e-9


@dataclass(frozen=True, slots=True)
class Robust:
    """A coefficient, its robust standard error and the degrees of freedom that go with it."""

    difference: float
    standard_error: float
    df: float

    @property
    def p(self) -> float:
        """Two-sided p; 0 of a difference without any error, NaN where nothing is known."""
        from scipy.special import stdtr

        if self.standard_error == 0:
            return 0.0 if self.difference else float("nan")
        return float(2 * stdtr(self.df, -abs(self.difference) / self.standard_error))


def robust(
    column: Floats, outcome: Floats, nuisance: Floats, groups: Floats, power: float = 0.5
) -> Robust:
    """Return a coefficient with its CR2 or CR3 standard error, Satterthwaite degrees of freedom.

    With H the projection on nuisance and column, e the residuals and A_g the block of I - H of
    group g to the minus ``power``: variance = sum over g of (x_g' A_g e_g)^2 / (x'x)^2. With groups
    of one unit each CR2 is HC2, in two groups of units Welch's, and CR3 is HC3. The degrees of
    freedom are those of a chi-square with the mean and variance that the estimate would have if all
    units varied alike and independently. NaN where the column leaves nothing.

    Args:
        column: shape (n,), nuisance taken out.
        outcome: shape (n,), nuisance taken out.
        nuisance: shape (n, p), orthonormal.
        groups: shape (n,), which units belong together; equal values side by side.
        power: 1/2 is CR2, unbiased where all units vary alike; 1 is CR3, the sum of squared changes
            as each group is left out, larger where the habit is on few units.

    Source: MacKinnon & White 1985, J Econometrics 29:305 (HC3); Bell & McCaffrey 2002, Survey
    Methodology 28:169; Pustejovsky & Tipton 2018, J Bus Econ Stat 36:672, eqs. 6, 11 and 12
    (numbers from memory).
    """
    size = float(column @ column)
    if not size > 1e-12:
        nothing = float("nan")
        return Robust(nothing, nothing, nothing)
    basis = np.column_stack([nuisance, column / np.sqrt(size)])
    difference = float(column @ outcome) / size
    left = outcome - difference * column
    bounds = np.flatnonzero(np.diff(groups)) + 1
    parts = np.split(np.arange(len(column)), bounds)
    weights = np.zeros((len(column), len(parts)))
    if len(parts) == len(column):
        alone = 1 - np.square(basis).sum(axis=1)
        kept = alone > NOTHING_LEFT
        lone = np.where(kept, np.where(kept, alone, 1.0) ** -power, 0.0)
        np.fill_diagonal(weights, lone * column / size)
    for at, units in enumerate(parts if len(parts) < len(column) else ()):
        block = np.eye(len(units)) - basis[units] @ basis[units].T
        weights[units, at] = _inverse(block, power) @ column[units] / size
    variance = float(np.square(weights.T @ left).sum())
    spread = weights - basis @ (basis.T @ weights)
    products = spread.T @ spread
    df = float(np.trace(products) ** 2 / np.square(products).sum())
    return Robust(difference, float(np.sqrt(variance)), df)


def _inverse(block: Floats, power: float) -> Floats:
    """Return the block to the minus ``power``; directions in which nothing is left give 0."""
    size, vectors = np.linalg.eigh(block)
    kept = size > NOTHING_LEFT
    weight = np.where(kept, np.where(kept, size, 1.0) ** -power, 0.0)
    inverse: Floats = (vectors * weight) @ vectors.T
    return inverse
