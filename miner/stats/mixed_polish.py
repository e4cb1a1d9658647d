"""Newton steps to the very bottom of the deviance, and how much is still to be gained."""

from __future__ import annotations

import numpy as np

from miner.stats.mixed_design import Floats
from miner.stats.mixed_likelihood import in_theta
from miner.stats.mixed_optimise import Likelihood, active, curvature


def polish(likelihood: Likelihood, theta: Floats, steps: int = 30) -> tuple[Floats, float]:
    """Take up to ``steps`` Newton steps from theta; return it and the deviance still to be gained.

    The gain is half the slope times the inverse curvature times the slope (the Newton decrement),
    inf where the curvature is not positive definite. A step that leads no lower is halved; one
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
