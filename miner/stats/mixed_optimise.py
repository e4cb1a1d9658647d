"""Finds the relative covariance of the random effects, with a variance of exactly 0 allowed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from miner.stats.mixed_design import Floats
from miner.stats.mixed_likelihood import Evaluation, covariance, evaluate, in_theta
from miner.stats.mixed_many import evaluate_many
from miner.stats.mixed_products import CrossProducts

LARGEST = 1e4
SAME_DEVIANCE = 1e-7
FREE = {"none": (), "intercept": (0,), "slope": (2,), "uncorrelated": (0, 2), "both": (0, 1, 2)}


@dataclass(slots=True, eq=False)
class Likelihood:
    """The deviance as a function of theta, counting how often it was asked.

    Attributes:
        products: cross-products at one phi.
        degrees: units less fixed coefficients (restricted), or units.
        reml: restricted likelihood.
        free: which of (l11, l21, l22) the model has.
        asked: evaluations so far.
        known: the evaluations by theta.
    """

    products: CrossProducts
    degrees: int
    reml: bool
    free: tuple[int, ...]
    asked: int = 0
    known: dict[bytes, Evaluation] = field(default_factory=dict)

    def at(self, theta: Floats) -> Evaluation:
        """Return the evaluation at a full theta."""
        key = theta.tobytes()
        if key not in self.known:
            self.asked += 1
            self.known[key] = evaluate(self.products, theta, self.degrees, reml=self.reml)
        return self.known[key]

    def deviance(self, theta: Floats) -> float:
        """Return the deviance alone, which is quicker."""
        found = self.known.get(theta.tobytes())
        if found is not None:
            return found.deviance
        self.asked += 1
        return evaluate(self.products, theta, self.degrees, reml=self.reml, slopes=False).deviance

    def deviances(self, thetas: Floats) -> Floats:
        """Return the deviance at each of (k, 3) thetas."""
        self.asked += len(thetas)
        return evaluate_many(self.products, thetas, self.degrees, reml=self.reml).deviance


def minimise(likelihood: Likelihood, start: Floats | None = None, rounds: int = 4) -> Floats:
    """Return the theta of least deviance.

    The likelihood can have more than one maximum. A quasi-Newton search (sequential quadratic
    programming, diagonal of L at least 0) starts from the best of a few diagonals; the optimum
    with only one of two variances is tried beside it, so that a larger model never fits worse.
    Two checks follow. Where a variance came out small, exactly 0 is taken if the deviance is no
    worse. Where theta stopped on the boundary although the deviance falls into the interior (its
    derivative in D has a negative eigenvalue there: the derivative in theta vanishes at 0 whether
    or not 0 is best), the search goes on from inside.

    Args:
        likelihood: the deviance.
        start: (3,) where to begin, or None to choose among a few diagonals.
        rounds: how often it goes on from inside at most.
    """
    if not likelihood.free:
        return np.zeros(3)
    theta = _cold(likelihood) if start is None else _search(likelihood, start)
    for _ in range(rounds):
        theta = _to_zero(likelihood, theta)
        inside = _inside(likelihood, theta)
        if inside is None:
            break
        theta = _search(likelihood, inside)
    return theta


def active(likelihood: Likelihood, theta: Floats) -> tuple[int, ...]:
    """Return which free elements of theta are not held at the boundary."""
    held = {i for i in (0, 2) if theta[i] == 0}
    if 0 in held:
        held.add(1)
    return tuple(i for i in likelihood.free if i not in held)


def _cold(likelihood: Likelihood) -> Floats:
    several = [i for i in likelihood.free if i != 1]
    found = [_search(likelihood, _first(likelihood, several))]
    if len(several) > 1:
        found += [_search(likelihood, _first(likelihood, [i]), (i,)) for i in several]
    return min(found, key=likelihood.deviance)


def _first(likelihood: Likelihood, several: list[int]) -> Floats:
    levels = (0.05, 0.3, 1.0, 4.0)
    values = np.array(list(product(levels, repeat=len(several))))
    starts = np.zeros((len(values), 3))
    starts[:, several] = values
    return np.asarray(starts[int(np.argmin(likelihood.deviances(starts)))])


def _search(likelihood: Likelihood, start: Floats, only: tuple[int, ...] | None = None) -> Floats:
    from scipy.optimize import minimize

    free = list(likelihood.free if only is None else only)

    def full(part: Floats) -> Floats:
        theta = np.zeros(3)
        theta[free] = part
        return theta

    def objective(part: Floats) -> tuple[float, Floats]:
        found = likelihood.at(full(part))
        slope = in_theta(found.slope, full(part))[free]
        value = found.deviance if np.isfinite(found.deviance) else 1e100
        return value / likelihood.degrees, slope / likelihood.degrees

    bounds = [(-LARGEST, LARGEST) if i == 1 else (0.0, LARGEST) for i in free]
    found = minimize(
        objective,
        start[free],
        jac=True,
        method="SLSQP",
        bounds=bounds,
        options={"ftol": max(1e-9 / likelihood.degrees, 1e-14), "maxiter": 200},
    )
    return full(np.asarray(found.x, dtype=np.float64))


def _to_zero(likelihood: Likelihood, theta: Floats) -> Floats:
    smaller = [item for item in _smaller(theta) if not np.array_equal(item, theta)]
    if not smaller:
        return theta
    best, *others = likelihood.deviances(np.stack([theta, *smaller]))
    for candidate, deviance in zip(smaller, others, strict=True):
        if deviance <= best + SAME_DEVIANCE:
            return candidate
    return theta


def _smaller(theta: Floats) -> Iterator[Floats]:
    yield np.zeros(3)
    yield np.array([theta[0], 0.0, 0.0])
    yield np.array([0.0, 0.0, np.hypot(theta[1], theta[2])])
    if abs(theta[2]) < 1e-2 * abs(theta[1]):
        yield np.array([theta[0], theta[1], 0.0])


def boundary_pull(likelihood: Likelihood, theta: Floats) -> tuple[float, Floats]:
    """Return the least derivative of the deviance over directions into D, and that direction.

    Below 0 the deviance falls by adding a variance in that direction: theta is not a minimum.
    """
    slope = likelihood.at(theta).slope
    if 1 in likelihood.free:
        values, vectors = np.linalg.eigh(slope)
        return float(values[0]), vectors[:, 0]
    chosen = min((i for i in likelihood.free), key=lambda i: slope[i // 2, i // 2])
    direction = np.zeros(2)
    direction[chosen // 2] = 1.0
    return float(slope[chosen // 2, chosen // 2]), direction


def _inside(likelihood: Likelihood, theta: Floats) -> Floats | None:
    if active(likelihood, theta) == likelihood.free:
        return None
    least, direction = boundary_pull(likelihood, theta)
    if least >= 0:
        return None
    D = covariance(theta)
    steps = [_factor(D + t * np.outer(direction, direction)) for t in (1e-4, 1e-2, 0.1, 1.0)]
    best, *deviances = likelihood.deviances(np.stack([theta, *steps]))
    chosen = int(np.argmin(deviances))
    return steps[chosen] if deviances[chosen] < best - SAME_DEVIANCE else None


def _factor(D: Floats) -> Floats:
    l11 = np.sqrt(max(D[0, 0], 0.0))
    l21 = D[0, 1] / l11 if l11 > 0 else 0.0
    return np.array([l11, l21, np.sqrt(max(D[1, 1] - l21 * l21, 0.0))])


def curvature(likelihood: Likelihood, theta: Floats, residual: float | None = None) -> Floats:
    """Return the second derivative of the deviance in the active elements of theta.

    Args:
        likelihood: the deviance.
        theta: (3,) where.
        residual: the residual variance, where it is held instead of profiled out.
    """
    moving = active(likelihood, theta)
    columns = []
    for i in moving:
        step = 1e-4 * max(abs(theta[i]), 0.1)
        sides = []
        for sign in (1.0, -1.0):
            moved = theta.copy()
            moved[i] += sign * step
            found = likelihood.at(moved)
            slope = found.slope
            if residual is not None:
                held = 1.0 / residual - likelihood.degrees / found.rss
                slope = slope + held * found.slope_rss
            sides.append(in_theta(slope, moved)[list(moving)])
        columns.append((sides[0] - sides[1]) / (2 * step))
    matrix = np.array(columns).reshape(len(moving), len(moving))
    return np.asarray((matrix + matrix.T) / 2)
