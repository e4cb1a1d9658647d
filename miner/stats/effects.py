"""Size, standard error and t of a rule, on whitened columns with the nuisance taken out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc, stdtr, stdtrit

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Effects:
    """Differences, standard errors and t values of m rules, with their degrees of freedom."""

    difference: Floats
    standard_error: Floats
    t: Floats
    df: int

    @property
    def p(self) -> Floats:
        """Two-sided p of each rule alone."""
        return two_sided(self.t, self.df)


def two_sided(t: Floats, df: float) -> Floats:
    """Return the two-sided p of t with df degrees of freedom."""
    return np.asarray(2 * stdtr(df, -np.abs(t)), dtype=np.float64)


def t_quantile(share: float, df: float) -> float:
    """Return the t below which that share of the distribution lies."""
    return float(stdtrit(df, share))


def explained(share: float, columns: int, df: int) -> float:
    """Return the p of the share of a column's squares that so many other columns explain.

    Args:
        share: 0 to 1.
        columns: how many directions explain it; of none p is 1.
        df: degrees of freedom left beside them.

    Source: the F test of nested models; Draper & Smith 1998, Applied Regression Analysis, ch. 6.
    """
    if columns < 1 or df < 1:
        return 1.0
    if share >= 1:
        return 0.0
    return float(fdtrc(columns, df, share / columns / ((1 - share) / df)))


def single(rules: Floats, outcome: Floats, nuisance_rank: int) -> Effects:
    """Return each rule's effect when it alone stands beside the nuisance.

    Args:
        rules: shape (n, m), whitened, nuisance taken out.
        outcome: shape (n,), whitened, nuisance taken out, any unit.
        nuisance_rank: how many directions the nuisance took.

    Returns:
        NaN for a rule in which nothing is left.

    Source: generalised least squares with known correlation, by the theorem of Frisch & Waugh
    1933, Econometrica 1:387.
    """
    df = len(outcome) - nuisance_rank - 1
    inner = np.square(rules).sum(axis=0)
    cross = rules.T @ outcome
    return _effects(inner, cross, np.full(len(inner), float(outcome @ outcome)), df)


def paired(rules: Floats, outcomes: Floats, nuisance_rank: int) -> Effects:
    """Return the effect of each rule on an outcome of its own; as of :func:`single`.

    Args:
        rules: shape (n, m), whitened, nuisance taken out.
        outcomes: shape (n, m), likewise.
        nuisance_rank: how many directions the nuisance took.
    """
    inner, rest = np.square(rules).sum(axis=0), np.square(outcomes).sum(axis=0)
    return _effects(inner, (rules * outcomes).sum(axis=0), rest, len(rules) - nuisance_rank - 1)


def beside(rule: Floats, others: Floats, outcome: Floats, nuisance_rank: int) -> Effects:
    """Return one rule's effect beside each of the other columns, one at a time.

    Args:
        rule: shape (n,), whitened, nuisance taken out.
        others: shape (n, m), likewise: parts of the rule, confounders, or one column a unit
            (whitened unit vectors), which takes that unit out.
        outcome: shape (n,), likewise.
        nuisance_rank: how many directions the nuisance took.

    Returns:
        Shape (m,) each; NaN where the other column leaves nothing of the rule; where the other
        column is empty the rule stands alone.
    """
    df = len(outcome) - nuisance_rank - 2
    own = np.square(others).sum(axis=0)
    weight = np.where(own > 1e-12, 1 / np.maximum(own, 1e-12), 0.0)
    with_rule = others.T @ rule
    with_outcome = others.T @ outcome
    whole = float(rule @ rule)
    inner = whole - with_rule**2 * weight
    cross = float(rule @ outcome) - with_rule * with_outcome * weight
    rest = float(outcome @ outcome) - with_outcome**2 * weight
    inner = np.where(inner < 1e-8 * whole, 0.0, inner)
    return _effects(inner, cross, rest, df)


def _effects(inner: Floats, cross: Floats, rest: Floats, df: int) -> Effects:
    nothing = np.full(len(inner), np.nan)
    difference, error, t = nothing.copy(), nothing.copy(), nothing.copy()
    if df < 1:
        return Effects(difference, error, t, df)
    ok = inner > 1e-12
    difference[ok] = cross[ok] / inner[ok]
    left = np.maximum(rest[ok] - cross[ok] ** 2 / inner[ok], 0.0)
    error[ok] = np.sqrt(left / df / inner[ok])
    with np.errstate(divide="ignore", invalid="ignore"):
        t[ok] = np.where(error[ok] > 0, difference[ok] / error[ok], np.inf * difference[ok])
    return Effects(difference, error, t, df)
