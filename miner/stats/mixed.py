"""Linear mixed model with a random intercept and slope and dependence within groups."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from miner.core.messages import Message, Words, message
from miner.stats.mixed_design import Floats, GroupedDesign, Panel, design
from miner.stats.mixed_likelihood import Evaluation, covariance, in_theta
from miner.stats.mixed_optimise import (
    FREE,
    LARGEST,
    LARGEST_PHI,
    Likelihood,
    Profile,
    active,
    best_phi,
    boundary_pull,
    curvature,
    minimise,
    polish,
)

PHI_STEP = 1e-3


def satterthwaite(
    likelihood: Likelihood,
    theta: Floats,
    back: Floats,
    phi: float | None,
    at_phi: Callable[[float], Likelihood],
) -> Floats:
    """Return the degrees of freedom of every coefficient.

    df_j = 2 v_j^2 / (g'A g), v_j the squared standard error, g its derivative in the covariance
    parameters (theta off the boundary, phi where it was estimated, the residual variance) and A
    their covariance, twice the inverse second derivative of the deviance.

    Args:
        likelihood: the deviance at the estimated phi.
        theta: (3,) relative Cholesky factor of least deviance.
        back: (p, p) turns coefficients of the orthonormal columns into the caller's.
        phi: the estimated dependence, or None where it was held fixed or is on its boundary.
        at_phi: gives the deviance at another phi.

    Returns:
        (p,), NaN where the curvature does not let them be found.

    Source: Satterthwaite 1946, Biometrics Bulletin 2:110-114; Giesbrecht & Burns 1985,
    Biometrics 41:477-486; Kuznetsova, Brockhoff & Christensen 2017, J Stat Softw 82(13).
    """
    here = likelihood.at(theta)
    residual = here.rss / likelihood.degrees
    moving = list(active(likelihood, theta))
    size = len(moving) + (phi is not None) + 1
    matrix, slopes = np.zeros((size, size)), np.zeros((size, back.shape[0]))
    matrix[-1, -1] = likelihood.degrees / residual**2
    matrix[: len(moving), : len(moving)] = curvature(likelihood, theta, residual)
    matrix[: len(moving), -1] = -in_theta(here.slope_rss, theta)[moving] / residual**2
    variances = _squared_errors(here, back) * residual
    slopes[-1] = variances / residual
    for row, i in enumerate(moving):
        step = 1e-4 * max(abs(theta[i]), 0.1)
        sides = [_squared_errors(likelihood.at(_moved(theta, i, s)), back) for s in (step, -step)]
        slopes[row] = residual * (sides[0] - sides[1]) / (2 * step)
    if phi is not None:
        column, slopes[-2] = _in_phi(here, theta, moving, residual, back, phi, at_phi)
        matrix[: len(moving), -2], matrix[-2, -2:] = column[:-2], column[-2:]
    upper = np.triu(matrix)
    return _freedom(upper + np.triu(matrix, 1).T, slopes, variances)


def _freedom(matrix: Floats, slopes: Floats, variances: Floats) -> Floats:
    scale = np.sqrt(np.abs(np.diag(matrix)))
    if not (np.isfinite(matrix).all() and (scale > 0).all()):
        return np.full(variances.shape, np.nan)
    values, vectors = np.linalg.eigh(matrix / np.outer(scale, scale))
    kept = values > 1e-8
    turned = vectors[:, kept].T @ (slopes / scale[:, None])
    return np.asarray(variances**2 / (turned**2 / values[kept, None]).sum(axis=0))


def _squared_errors(found: Evaluation, back: Floats) -> Floats:
    return np.asarray(np.einsum("ij,jk,ik->i", back, found.inverse, back))


def _moved(theta: Floats, i: int, step: float) -> Floats:
    moved = theta.copy()
    moved[i] += step
    return moved


def _in_phi(
    here: Evaluation,
    theta: Floats,
    moving: list[int],
    residual: float,
    back: Floats,
    phi: float,
    at_phi: Callable[[float], Likelihood],
) -> tuple[Floats, Floats]:
    step = min(PHI_STEP, phi / 2, (1 - phi) / 2)
    sides = [at_phi(phi + step), at_phi(phi - step)]
    degrees = sides[0].degrees
    found = [side.at(theta) for side in sides]

    def held(one: Evaluation) -> float:
        return float(one.deviance - degrees * np.log(one.rss) + one.rss / residual)

    def slope(one: Evaluation) -> Floats:
        full = one.slope + (1 / residual - degrees / one.rss) * one.slope_rss
        return in_theta(full, theta)[moving]

    high, low = found
    across = (slope(high) - slope(low)) / (2 * step)
    twice = (held(high) - 2 * held(here) + held(low)) / step**2
    with_residual = -(high.rss - low.rss) / (2 * step) / residual**2
    errors = residual * (_squared_errors(high, back) - _squared_errors(low, back)) / (2 * step)
    return np.concatenate([across, [twice, with_residual]]), errors


Random = Literal["none", "intercept", "slope", "uncorrelated", "both"]
GAIN_LEFT = 1e-5


@dataclass(frozen=True, slots=True, eq=False)
class MixedFit:
    """A fitted linear mixed model.

    Attributes:
        coefficients: (p,) fixed coefficients, in the order of the columns of X.
        standard_errors: (p,).
        covariance: (p, p) of the fixed coefficients.
        freedom: (p,) Satterthwaite degrees of freedom.
        random_covariance: (2, 2) of intercept and slope between groups; 0 for what is not
            in the model.
        residual_variance: within groups.
        phi: correlation of two units of one group one unit of time apart; 0 if not modelled.
        log_likelihood: restricted or not, with all constants, as lme4 and nlme print it.
        random: which random effects the model has.
        reml: restricted likelihood.
        groups: how many groups.
        units: how many units.
        converged: the optimum was found and is finite.
        boundary: which of "intercept" and "slope" have a variance of exactly 0, and
            "correlation" where theirs is exactly 1 or -1.
        problem: why the numbers cannot be used; "" where they can.
    """

    coefficients: Floats
    standard_errors: Floats
    covariance: Floats
    freedom: Floats
    random_covariance: Floats
    residual_variance: float
    phi: float
    log_likelihood: float
    random: Random
    reml: bool
    groups: int
    units: int
    converged: bool
    boundary: tuple[str, ...]
    problem: Words

    def intervals(self, level: float = 0.95) -> Floats:
        """Return (p, 2) limits, coefficient -+ t quantile x standard error."""
        from scipy.stats import t

        reach = t.ppf((1 + level) / 2, self.freedom) * self.standard_errors
        return np.column_stack([self.coefficients - reach, self.coefficients + reach])

    def p_values(self) -> Floats:
        """Return (p,) two-sided p-values of t = coefficient / standard error."""
        from scipy.stats import t

        ratio = np.abs(self.coefficients / self.standard_errors)
        return np.asarray(2 * t.sf(ratio, self.freedom), dtype=np.float64)


def fit_mixed(
    y: npt.ArrayLike,
    X: npt.ArrayLike,
    panel: Panel,
    slope: npt.ArrayLike | None = None,
    *,
    random: Random = "both",
    reml: bool = True,
) -> MixedFit:
    """Fit y = X b + u0_g + u1_g slope + e by (restricted) maximum likelihood.

    (u0, u1) differ between groups with covariance G, e has variance s2 and, where times are
    given, correlation phi^|t_i - t_j| within a group, 0 <= phi < 1. b and s2 are profiled out,
    G / s2 is searched through its Cholesky factor, phi over a grid and by Brent's method.

    Args:
        y: (units,) response; every value known.
        X: (units, p) fixed design, with its own column of ones where an intercept is meant.
        panel: the group of each unit; with times, dependence is estimated, without them phi is 0.
        slope: (units,) the column whose coefficient differs between groups; needed by
            ``random`` "slope", "uncorrelated" and "both".
        random: which effects differ between groups; "both" with a full covariance.
        reml: restricted likelihood.

    Returns:
        The fit. Data no model can be fitted to give NaN and say why in ``problem``.

    Raises:
        ValueError: arrays of different lengths, or ``random`` needs a slope that is not given.

    Source: Bates et al. 2015, J Stat Softw 67(1); Pinheiro & Bates 2000, chapters 2 and 5.
    """
    if random not in FREE or (slope is None and random not in ("none", "intercept")):
        raise ValueError(f"no slope: {random}")
    used = None if random in ("none", "intercept") else slope
    prepared = design(y, X, panel, used)
    if isinstance(prepared, Message):
        return _nothing(random, reml, np.asarray(X).shape, prepared)
    problem = _too_little(prepared, random)
    if problem:
        return _nothing(random, reml, np.asarray(X).shape, problem)
    degrees = prepared.units - (prepared.fixed if reml else 0)
    profile = Profile(prepared, degrees, reml, FREE[random])
    phi, likelihood, theta, gain = _optimum(profile, panel.times is not None)
    known = phi if 0 < phi < LARGEST_PHI else None
    freedom = satterthwaite(likelihood, theta, prepared.back, known, profile.likelihood)
    return _assemble(prepared, likelihood, theta, phi, random, freedom, gain)


def _optimum(profile: Profile, dependent: bool) -> tuple[float, Likelihood, Floats, float]:
    if not dependent:
        likelihood = profile.likelihood(0.0)
        return 0.0, likelihood, *polish(likelihood, minimise(likelihood))
    phi = best_phi(profile)
    likelihood = profile.likelihood(phi)
    return phi, likelihood, *polish(likelihood, minimise(likelihood, profile.start()))


def _too_little(prepared: GroupedDesign, random: Random) -> Words:
    if random != "none" and prepared.groups < 2:
        return message("stats.one_group")
    if random != "none" and prepared.groups == prepared.units:
        return message("stats.one_unit_a_group")
    if random in ("slope", "uncorrelated", "both") and not prepared.rows[1].any():
        return message("stats.slope_is_zero")
    return ""


def _assemble(
    prepared: GroupedDesign,
    likelihood: Likelihood,
    theta: Floats,
    phi: float,
    random: Random,
    freedom: Floats,
    gain: float,
) -> MixedFit:
    found = likelihood.at(theta)
    residual = found.rss / likelihood.degrees
    spread = covariance(theta) * residual / np.outer(prepared.scale, prepared.scale)
    errors = residual * prepared.back @ found.inverse @ prepared.back.T
    constant = likelihood.degrees * (1 + np.log(2 * np.pi / likelihood.degrees))
    total = found.deviance + constant + (prepared.log_det_fixed if likelihood.reml else 0.0)
    problem = _problem(likelihood, theta, phi, found, gain)
    return MixedFit(
        coefficients=prepared.least_squares + prepared.back @ found.coefficients,
        standard_errors=np.sqrt(np.diag(errors)),
        covariance=errors,
        freedom=freedom,
        random_covariance=spread,
        residual_variance=residual,
        phi=phi,
        log_likelihood=float(-total / 2),
        random=random,
        reml=likelihood.reml,
        groups=prepared.groups,
        units=prepared.units,
        converged=not problem,
        boundary=_boundary(likelihood, theta),
        problem=problem,
    )


def _problem(
    likelihood: Likelihood, theta: Floats, phi: float, found: Evaluation, gain: float
) -> Words:
    if not (np.isfinite(found.deviance) and np.isfinite(found.inverse).all()):
        return message("stats.likelihood_not_finite")
    if np.abs(theta).max() > LARGEST / 2:
        return message("stats.too_little_within")
    if phi >= LARGEST_PHI:
        return message("stats.dependence_runs_to_one")
    if gain > GAIN_LEFT:
        return message("stats.search_not_settled")
    if likelihood.free and boundary_pull(likelihood, theta)[0] < -1e-3 * likelihood.degrees:
        return message("stats.stopped_at_boundary")
    return ""


def _boundary(likelihood: Likelihood, theta: Floats) -> tuple[str, ...]:
    if not likelihood.free:
        return ()
    names = [name for i, name in ((0, "intercept"), (2, "slope")) if i in likelihood.free]
    if likelihood.free == (0, 1, 2) and theta[0] > 0 and theta[1] != 0 and theta[2] == 0:
        return ("correlation",)
    return tuple(name for name in names if theta[0 if name == "intercept" else 2] == 0)


def _nothing(random: Random, reml: bool, shape: tuple[int, ...], problem: Words) -> MixedFit:
    p = shape[1] if len(shape) == 2 else 0
    each, between, nan = np.full(p, np.nan), np.full((2, 2), np.nan), np.nan
    found = each, each, np.full((p, p), nan), each, between, nan, nan, nan
    return MixedFit(*found, random, reml, 0, shape[0], False, (), problem)
