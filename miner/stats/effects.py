"""Size, standard error and t of a rule, on whitened columns with the nuisance taken out.

Then what they hold up against: uneven spread, columns alike, the better of two shapes, and luck.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import inf, isnan, log, log1p, nan, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc, gammainccinv, gammaincinv, stdtr, stdtrit

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
    """Return the t below which that share of the distribution is."""
    return float(stdtrit(df, share))


def explained(share: float, columns: int, df: int) -> float:
    """Return the p of the share of a column's squares that so many other columns explain.

    Args:
        share: 0 to 1.
        columns: how many directions explain it; of none p is 1.
        df: degrees of freedom left with them in the model.

    Source: the F test of nested models; Draper & Smith 1998, Applied Regression Analysis, ch. 6.
    """
    if columns < 1 or df < 1:
        return 1.0
    if share >= 1:
        return 0.0
    return float(fdtrc(columns, df, share / columns / ((1 - share) / df)))


def single(rules: Floats, outcome: Floats, nuisance_rank: int) -> Effects:
    """Return each rule's effect when it alone is in the model with the nuisance.

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
    """Return one rule's effect with each of the other columns, one at a time.

    Args:
        rule: shape (n,), whitened, nuisance taken out.
        others: shape (n, m), likewise: parts of the rule, confounders, or one column a unit
            (whitened unit vectors), which takes that unit out.
        outcome: shape (n,), likewise.
        nuisance_rank: how many directions the nuisance took.

    Returns:
        Shape (m,) each; NaN where the other column leaves nothing of the rule; where the other
        column is empty the rule is alone.
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


NODES = 512
ANGLES = np.pi * (np.arange(NODES) + 0.5) / NODES


def either(first: float, second: float, correlation: float, df: float) -> float:
    """Return the chance that one of two partial correlations reaches its limit, in size.

    Both columns are compared with one outcome that points anywhere in df + 1 dimensions with the
    same chance, as normal scatter does. In the plane of the two columns its squared length R^2 is
    Beta(1, (df - 1) / 2) and its angle uniform, so the chance is the mean over all angles of
    P(R >= the smaller of first / |cos angle|, second / |cos (angle - a)|), cos a the correlation.

    Args:
        first: limit of the first, 0 to 1.
        second: limit of the second, 0 to 1.
        correlation: of the two columns, nuisance taken out of both.
        df: degrees of freedom left for one of them, at least 1.

    Source: the geometry of Fisher 1915, Biometrika 10:507, for two columns at once; derived here,
    checked by permutation and by Student's t where the two are one.
    """
    own, other = _cosines(1.0), _cosines(float(correlation))
    with np.errstate(divide="ignore"):
        reach = np.minimum(first / own, second / other)
    inside = np.maximum(1 - np.square(np.minimum(reach, 1.0)), 0.0)
    return float(np.where(reach < 1, inside ** ((df - 1) / 2), 0.0).mean())


@lru_cache(maxsize=256)
def _cosines(correlation: float) -> Floats:
    """Return the size of the cosine between each angle and a column of that correlation."""
    found: Floats = np.abs(np.cos(ANGLES - np.arccos(np.clip(correlation, -1.0, 1.0))))
    return found


def r_of_t(t: float, df: float) -> float:
    """Return the size of the partial correlation that has this t."""
    return float(np.abs(t) / np.sqrt(df + t * t)) if np.isfinite(t) else 1.0


def orthonormal(columns: Floats, tolerance: float = 1e-8) -> Floats:
    """Return an orthonormal basis of the span of the columns, shape (n, rank).

    Args:
        columns: shape (n, p); columns that add nothing are dropped.
        tolerance: relative singular value under which a direction counts as nothing.
    """
    if columns.shape[1] == 0:
        return columns.copy()
    scale = np.linalg.norm(columns, axis=0)
    scaled = columns / np.where(scale > 0, scale, 1.0)
    left, size, _ = np.linalg.svd(scaled, full_matrices=False)
    basis: Floats = left[:, size > tolerance * max(float(size[0]), 1e-300)]
    return basis


def independent(columns: Floats, tolerance: float = 1e-8) -> list[int]:
    """Return which columns, in order, are not spanned by those before them.

    Args:
        columns: shape (n, p).
        tolerance: share of a column's length under which what is left of it counts as nothing.
    """
    kept: list[int] = []
    basis = np.empty((len(columns), 0))
    for at in range(columns.shape[1]):
        column = columns[:, at]
        rest = residual(basis, column[:, None])[:, 0]
        length = float(np.linalg.norm(rest))
        if length > tolerance * max(float(np.linalg.norm(column)), 1e-300):
            kept.append(at)
            basis = np.hstack([basis, (rest / length)[:, None]])
    return kept


def residual(basis: Floats, columns: Floats) -> Floats:
    """Return what is left of the columns off an orthonormal basis, shape (n, m).

    Args:
        basis: shape (n, p), orthonormal.
        columns: shape (n, m).
    """
    left: Floats = columns - basis @ (basis.T @ columns)
    return left


def share_kept(basis: Floats, small: Floats, columns: Floats) -> Floats:
    """Return the share of each column's variation off ``small`` that is left off ``basis``.

    Args:
        basis: shape (n, p), orthonormal, spans ``small``.
        small: shape (n, q), orthonormal, usually the intercept alone.
        columns: shape (n, m).

    Returns:
        Shape (m,), 0 to 1; NaN for a column that does not vary.
    """
    whole = np.square(residual(small, columns)).sum(axis=0)
    left = np.square(residual(basis, columns)).sum(axis=0)
    out = np.full(columns.shape[1], np.nan)
    varies = whole > 1e-12 * np.maximum(np.square(columns).sum(axis=0), 1e-300)
    out[varies] = left[varies] / whole[varies]
    return out


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


def correlations(values: Floats, others: Floats) -> Floats:
    """Return the correlation of columns over the units known for both.

    Args:
        values: shape (n, m): 1, 0 or NaN, or any numbers.
        others: shape (n, k), likewise.

    Returns:
        Shape (m, k); NaN where either does not vary over the units known for both.

    Source: Pearson's product-moment correlation; of two yes/no columns it is phi of their 2 x 2
    table (Agresti 2013, Categorical Data Analysis, 3rd ed.).
    """
    known, known_too = (~np.isnan(values)).astype(float), (~np.isnan(others)).astype(float)
    one, other = np.where(known > 0, values, 0.0), np.where(known_too > 0, others, 0.0)
    n = known.T @ known_too
    first, second = one.T @ known_too, known.T @ other
    top = n * (one.T @ other) - first * second
    spread = n * (np.square(one).T @ known_too) - first**2
    spread_too = n * (known.T @ np.square(other)) - second**2
    bottom = np.where(spread > 1e-9 * n**2, spread, 0.0)
    bottom = bottom * np.where(spread_too > 1e-9 * n**2, spread_too, 0.0)
    out = np.full(top.shape, np.nan)
    varies = bottom > 0
    out[varies] = np.clip(top[varies] / np.sqrt(bottom[varies]), -1.0, 1.0)
    return out


def differing(values: Floats, others: Floats) -> tuple[int, int]:
    """Return on how many units two columns differ, and on how many both are known.

    Args:
        values: shape (n,), 1, 0 or NaN.
        others: shape (n,), likewise.
    """
    both = ~np.isnan(values) & ~np.isnan(others)
    return int((values[both] != others[both]).sum()), int(both.sum())


VARIANCE_NODES, REACH = 1024, 1e-50


@dataclass(frozen=True, slots=True)
class Expected:
    """A difference shrunk towards 0, and the standard error it then has, both in its own unit."""

    difference: float
    standard_error: float


def expected(
    difference: float, se: float, spread: float, df: float = inf, share: float = 1.0
) -> Expected:
    """Return a difference shrunk towards 0 by how many true ones there are, and of what size.

    The mean and standard deviation of the true difference b given the estimate. b is exactly 0
    with the chance 1 - share, else normal around 0 (spike and slab); the estimate is b plus se
    times Student's t. One picked because it was large often has a standard error that came out
    small; the t takes that into account. The t is a normal deviate times sqrt(w), w = df /
    chi-square: given w and that b is not 0 the expected difference is difference * spread^2 /
    (spread^2 + w * se^2). w, and whether b is 0, are averaged out. NaN where both se and spread
    are 0, or anything is unknown.

    Args:
        difference: as estimated, in the outcome's unit.
        se: its standard error, same unit, not negative; infinite says that nothing was learnt.
        spread: standard deviation of true differences of this kind, same unit, not negative.
        df: degrees of freedom of the standard error, above 0; infinite says that it is known.
        share: of true differences of this kind that are not 0, above 0 and at most 1.

    Source: Gelman et al. 2014, Bayesian Data Analysis, 3rd ed., eq. 2.11-2.12; the t as a mixture
    of normals: section 17.2 (section from memory); the mass at 0: Mitchell & Beauchamp 1988, J Am
    Stat Assoc 83:1023 (from memory).
    """
    if isnan(difference) or isnan(df) or not spread**2 + se**2 > 0:
        return Expected(nan, nan)
    if se == inf:
        return Expected(0.0, sqrt(share) * spread)
    if se == 0 or spread == 0:
        return Expected(difference if se == 0 else 0.0, 0.0)
    scales, mixing = _mixing(df)
    noise = se**2 * scales
    total = spread**2 + noise
    moved = _weights(mixing, difference, total) + log(share)
    still = _weights(mixing, difference, noise) + (log1p(-share) if share < 1 else -inf)
    most = max(moved.max(), still.max())
    weight = np.exp(moved - most)
    weight /= weight.sum() + np.exp(still - most).sum()
    means = difference * spread**2 / total
    mean = float((weight * means).sum())
    square = float((weight * (noise * spread**2 / total + means**2)).sum())
    return Expected(mean, sqrt(max(square - mean**2, 0.0)))


def _weights(mixing: Floats, difference: float, variance: Floats) -> Floats:
    """Return the logarithm of the density of each w and the difference, up to one constant."""
    found: Floats = mixing - 0.5 * (np.log(variance) + difference**2 / variance)
    return found


@lru_cache(maxsize=256)
def _mixing(df: float) -> tuple[Floats, Floats]:
    """Return an even grid of log w, as w, with the logarithm of its density up to a constant."""
    if df == inf:
        return np.ones(1), np.zeros(1)
    least, most = gammainccinv(df / 2, REACH), gammaincinv(df / 2, REACH)
    grid = np.linspace(np.log(df / 2 / least), np.log(df / 2 / most), VARIANCE_NODES)
    return np.exp(grid), -0.5 * df * (grid + np.exp(-grid))
