"""Follows the best covariance of the random effects from one phi to the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from miner.stats.mixed_design import Floats
from miner.stats.mixed_likelihood import in_theta
from miner.stats.mixed_optimise import Likelihood, active, boundary_pull, curvature

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
