"""Profiles the likelihood over the dependence from unit to unit, phi."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from miner.stats.mixed_design import Design, Floats
from miner.stats.mixed_follow import Optimum, follow, optimum
from miner.stats.mixed_optimise import Likelihood, minimise
from miner.stats.mixed_products import cross_products

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
        asked: evaluations so far.
        seen: deviance by phi.
        near: theta where the last search ended and how the deviance bends there.
    """

    prepared: Design
    degrees: int
    reml: bool
    free: tuple[int, ...]
    theta: Floats | None = None
    asked: int = 0
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
        self.asked += likelihood.asked
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
    profile.asked += few.asked
    low, high = max(near - width, 0.0), min(near + width, LARGEST_PHI)
    found = _search(profile, low, high)
    return _search(profile, 0.0, LARGEST_PHI) if _at_edge(found, low, high) else found


def _of_few(profile: Profile) -> float:
    if len(profile.free) < 2:
        return _search(profile, *_bracket(profile))
    low, high = _ladder(profile)
    profile.at((low + high) / 2)
    found = _search(profile, low, high)
    if not _at_edge(found, low, high):
        return found
    return _search(profile, *_bracket(profile))


def _at_edge(found: float, low: float, high: float) -> bool:
    margin = 0.02 * (high - low)
    return (found - low < margin and low > 0) or (high - found < margin and high < LARGEST_PHI)


def _ladder(profile: Profile) -> tuple[float, float]:
    thetas = np.column_stack([LEVELS, np.zeros((len(LEVELS), 2))])
    least = []
    for phi in GRID:
        likelihood = profile.likelihood(phi)
        least.append(float(likelihood.deviances(thetas).min()))
        profile.asked += likelihood.asked
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


def _search(profile: Profile, low: float, high: float) -> float:
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
