"""Finds the covariance of the random effects, 0 allowed, and the dependence within groups."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from miner.stats.mixed_design import CrossProducts, Floats, GroupedDesign, cross_products
from miner.stats.mixed_likelihood import Evaluation, covariance, evaluate, evaluate_many, in_theta

LARGEST = 1e4
SAME_DEVIANCE = 1e-7
FREE = {"none": (), "intercept": (0,), "slope": (2,), "uncorrelated": (0, 2), "both": (0, 1, 2)}


@dataclass(slots=True, eq=False)
class Likelihood:
    """The deviance as a function of theta.

    Attributes:
        products: cross-products at one phi.
        degrees: units less fixed coefficients (restricted), or units.
        reml: restricted likelihood.
        free: which of (l11, l21, l22) the model has.
        known: the evaluations by theta.
    """

    products: CrossProducts
    degrees: int
    reml: bool
    free: tuple[int, ...]
    known: dict[bytes, Evaluation] = field(default_factory=dict)

    def at(self, theta: Floats) -> Evaluation:
        """Return the evaluation at a full theta."""
        key = theta.tobytes()
        if key not in self.known:
            self.known[key] = evaluate(self.products, theta, self.degrees, reml=self.reml)
        return self.known[key]

    def deviance(self, theta: Floats) -> float:
        """Return the deviance alone, which is quicker."""
        found = self.known.get(theta.tobytes())
        if found is not None:
            return found.deviance
        return evaluate(self.products, theta, self.degrees, reml=self.reml, slopes=False).deviance

    def deviances(self, thetas: Floats) -> Floats:
        """Return the deviance at each of (k, 3) thetas."""
        return evaluate_many(self.products, thetas, self.degrees, reml=self.reml).deviance


def minimise(likelihood: Likelihood, start: Floats | None = None, rounds: int = 4) -> Floats:
    """Return the theta of least deviance.

    The likelihood can have more than one maximum. A quasi-Newton search (sequential quadratic
    programming, diagonal of L at least 0) starts from the best of a few diagonals; the optimum
    with only one of two variances is tried next to it, so that a larger model never fits worse.
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
    moving = list(active(likelihood, theta))

    def slope_at(moved: Floats) -> Floats:
        found = likelihood.at(moved)
        held = 0.0 if residual is None else 1.0 / residual - likelihood.degrees / found.rss
        return in_theta(found.slope + held * found.slope_rss, moved)[moving]

    matrix = np.empty((len(moving), len(moving)))
    for row, i in enumerate(moving):
        step = np.zeros(3)
        step[i] = 1e-4 * max(abs(theta[i]), 0.1)
        matrix[row] = (slope_at(theta + step) - slope_at(theta - step)) / (2 * step[i])
    return np.asarray((matrix + matrix.T) / 2)


def polish(likelihood: Likelihood, theta: Floats, steps: int = 30) -> tuple[Floats, float]:
    """Take up to ``steps`` Newton steps from theta; return it and the deviance still to be gained.

    The gain is half the slope times the inverse curvature times the slope (the Newton decrement),
    inf where the curvature is not positive definite. A step that does not lead lower is halved; one
    that would make a diagonal of L negative ends at 0.
    """
    gain = np.inf
    for _ in range(steps):
        moving = list(active(likelihood, theta))
        if not moving:
            return theta, 0.0
        here = likelihood.at(theta)
        slope = in_theta(here.slope, theta)[moving]
        values, vectors = np.linalg.eigh(curvature(likelihood, theta))
        if not (np.isfinite(values).all() and np.abs(values).max() > 0):
            return theta, float(np.inf)
        turned = vectors.T @ slope
        step = np.zeros(3)
        floor = 1e-8 * np.abs(values).max()
        step[moving] = -vectors @ (turned / np.maximum(np.abs(values), floor))
        gain = float((turned**2 / values).sum()) / 2 if values[0] > 0 else float(np.inf)
        moved = _lower(likelihood, theta, step, here.deviance) if gain > 1e-12 else None
        if moved is None:
            break
        theta = moved
    return theta, gain


def _lower(likelihood: Likelihood, theta: Floats, step: Floats, best: float) -> Floats | None:
    for _ in range(20):
        moved = theta + step
        moved[[0, 2]] = np.maximum(moved[[0, 2]], 0.0)
        if likelihood.deviance(moved) < best - 1e-12:
            return moved
        step = step / 2
    return None


SETTLED = 1e-10
STEPS = 12


@dataclass(frozen=True, slots=True, eq=False)
class Optimum:
    """A theta of least deviance and the inverse curvature there.

    Attributes:
        theta: (3,).
        moving: which elements are not held at the boundary.
        inverse: (moving, moving) inverse second derivative of the deviance.
    """

    theta: Floats
    moving: tuple[int, ...]
    inverse: Floats


def optimum(likelihood: Likelihood, theta: Floats) -> Optimum | None:
    """Return theta with the inverse curvature there; None where that is not positive definite."""
    moving = active(likelihood, theta)
    if not moving:
        return Optimum(theta, moving, np.empty((0, 0)))
    bend = curvature(likelihood, theta)
    if not np.isfinite(bend).all():
        return None
    values, vectors = np.linalg.eigh(bend)
    if not values[0] > 1e-8 * values[-1]:
        return None
    return Optimum(theta, moving, vectors / values @ vectors.T)


def follow(likelihood: Likelihood, near: Optimum) -> Floats | None:
    """Return the theta of least deviance close to one at another phi; None where none is reached.

    Newton steps with the curvature kept from there (the chord method), until half the slope times
    the inverse curvature times the slope is below 1e-10; given up where that does not fall by
    half a step, where a variance would fall below 0, and where one at 0 should not be.

    Source: Kelley 1995, Iterative Methods for Linear and Nonlinear Equations, section 5.4.1.
    """
    theta, moving, before = near.theta.copy(), list(near.moving), np.inf
    for _ in range(STEPS):
        if not moving:
            break
        slope = in_theta(likelihood.at(theta).slope, theta)[moving]
        step = near.inverse @ slope
        gain = float(slope @ step) / 2
        if not 0 <= gain < before / 2:
            return None
        theta[moving] -= step
        if any(theta[i] <= 0 for i in (0, 2) if i in moving):
            return None
        if gain < SETTLED:
            break
        before = gain
    else:
        return None
    held = near.moving != likelihood.free
    return None if held and boundary_pull(likelihood, theta)[0] < 0 else theta


LARGEST_PHI = 0.995
GRID = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.88, 0.94, 0.98, LARGEST_PHI)
LEVELS = (0.0, *np.geomspace(0.03, 10.0, 24))
GROUPS_TO_BRACKET = 400


@dataclass(slots=True, eq=False)
class Profile:
    """The least deviance at each phi, the search starting from the theta of the one before.

    Attributes:
        prepared: the data.
        degrees: units less fixed coefficients (restricted), or units.
        reml: restricted likelihood.
        free: which of (l11, l21, l22) the model has.
        theta: where the last search ended, None before the first.
        seen: deviance by phi.
        near: theta where the last search ended and how the deviance bends there.
    """

    prepared: GroupedDesign
    degrees: int
    reml: bool
    free: tuple[int, ...]
    theta: Floats | None = None
    seen: dict[float, float] = field(default_factory=dict)
    near: Optimum | None = None

    def likelihood(self, phi: float) -> Likelihood:
        """Return the deviance as a function of theta at one phi."""
        products = cross_products(self.prepared, phi)
        return Likelihood(products, self.degrees, self.reml, self.free)

    def start(self) -> Floats | None:
        """Return where the next search begins: the last theta, a little inside its bounds."""
        return None if self.theta is None else np.where(self.theta == 0, 0.05, self.theta)

    def at(self, phi: float) -> float:
        """Return the least deviance at one phi."""
        likelihood = self.likelihood(phi)
        self.theta = self._best(likelihood)
        self.seen[phi] = likelihood.deviance(self.theta)
        return self.seen[phi]

    def _best(self, likelihood: Likelihood) -> Floats:
        if self.theta is not None and self.near is not None:
            again = self.near if self.near.theta is self.theta else None
            found = None if again is None else follow(likelihood, again)
            if found is not None and again is not None:
                self.near = Optimum(found, again.moving, again.inverse)
                return found
        theta = minimise(likelihood, self.start())
        self.near = optimum(likelihood, theta)
        return theta


def best_phi(profile: Profile) -> float:
    """Return the phi of least deviance between 0 and ``LARGEST_PHI``.

    Brent's search around the best point of a grid, at each of which theta is looked for afresh
    where it is more than one number.
    With random slopes the grid is first walked without them, which is quick, and the search goes
    two points of the grid to either side; where it ends at an edge of this the grid is walked
    with them. Of many groups the grid is walked on a few hundred evenly spread ones, and the
    search over all of them is held to five standard errors around that; where it ends at an edge
    of this, all of the range is searched.
    """
    some = profile.prepared.some_groups(GROUPS_TO_BRACKET)
    if some is profile.prepared:
        return _of_few(profile)
    lost = profile.prepared.units - profile.degrees
    few = Profile(some, some.units - lost, profile.reml, profile.free)
    near = _of_few(few)
    profile.theta, width = few.theta, _five_standard_errors(few, near)
    low, high = max(near - width, 0.0), min(near + width, LARGEST_PHI)
    found = _search_phi(profile, low, high)
    return _search_phi(profile, 0.0, LARGEST_PHI) if _at_edge(found, low, high) else found


def _of_few(profile: Profile) -> float:
    if len(profile.free) < 2:
        return _search_phi(profile, *_bracket(profile))
    low, high = _ladder(profile)
    profile.at((low + high) / 2)
    found = _search_phi(profile, low, high)
    if not _at_edge(found, low, high):
        return found
    return _search_phi(profile, *_bracket(profile))


def _at_edge(found: float, low: float, high: float) -> bool:
    margin = 0.02 * (high - low)
    return (found - low < margin and low > 0) or (high - found < margin and high < LARGEST_PHI)


def _ladder(profile: Profile) -> tuple[float, float]:
    thetas = np.column_stack([LEVELS, np.zeros((len(LEVELS), 2))])
    least = []
    for phi in GRID:
        likelihood = profile.likelihood(phi)
        least.append(float(likelihood.deviances(thetas).min()))
    best = int(np.argmin(least))
    return GRID[max(best - 2, 0)], GRID[min(best + 2, len(GRID) - 1)]


def _bracket(profile: Profile) -> tuple[float, float]:
    ends: list[tuple[float, Floats | None]] = []
    for phi in GRID:
        if len(profile.free) > 1:
            profile.theta = None
        ends.append((profile.at(phi), profile.theta))
    best = min(range(len(GRID)), key=lambda i: ends[i][0])
    profile.theta = ends[best][1]
    return GRID[max(best - 1, 0)], GRID[min(best + 1, len(GRID) - 1)]


def _search_phi(profile: Profile, low: float, high: float) -> float:
    from scipy.optimize import minimize_scalar

    accuracy = 1e-4 / np.sqrt(profile.prepared.units)
    found = minimize_scalar(
        profile.at, bounds=(low, high), method="bounded", options={"xatol": accuracy}
    )
    ends = {edge: profile.at(edge) for edge in (low, high) if edge in (0.0, LARGEST_PHI)}
    best = min(ends, key=lambda edge: ends[edge], default=None)
    if best is not None and ends[best] <= float(found.fun) + 1e-7:
        return best
    return float(found.x)


def _five_standard_errors(profile: Profile, phi: float) -> float:
    step = 0.01
    low, high = max(phi - step, 0.0), min(phi + step, LARGEST_PHI)
    middle = (low + high) / 2
    bend = (profile.at(low) - 2 * profile.at(middle) + profile.at(high)) / ((high - low) / 2) ** 2
    return max(0.005, 5 * float(np.sqrt(2 / bend))) if bend > 0 else LARGEST_PHI
