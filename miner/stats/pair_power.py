"""How many pairs an alternating test needs, and how much one pair scatters."""

from __future__ import annotations

from functools import lru_cache
from math import floor, inf, nan, sqrt

import numpy as np
from numpy.typing import NDArray

from miner.stats.power import detectable as _detectable
from miner.stats.power import power

Floats = NDArray[np.float64]
ENUMERATED = 12
WORLDS = 4000


def pair_spread(
    times: Floats, first: NDArray[np.bool_], unit_spread: float, phi: float, w: float
) -> float:
    """Return the standard deviation of one pair's difference of means.

    Formula: unit_spread * sqrt(a' R a), R the correlation ``w phi^|t_i - t_j|`` (1 with itself), a
    the weights 1/m of the units of one period and -1/n of the other.

    Args:
        times: shape (units,), days of the units that count.
        first: shape (units,), which belong to the first period.
        unit_spread: standard deviation of a unit, its unit.
        phi: correlation from one day to the next.
        w: share of the variance that depends on the day.
    """
    weights = np.where(first, 1 / first.sum(), -1 / (~first).sum())
    distance = np.abs(times[:, None] - times[None, :])
    matrix = w * np.where(distance == 0, 1.0, np.power(float(phi), distance))
    np.fill_diagonal(matrix, 1.0)
    return float(unit_spread * sqrt(max(float(weights @ matrix @ weights), 0.0)))


def pairs_power(
    effect: float, spread: float, pairs: int, level: float = 0.05, seed: int = 0
) -> float:
    """Return how often the two-sided randomisation test of pairs finds a true effect.

    Up to twelve pairs by seeded simulation over every order, from there as the t test, which it
    then equals to two digits. Differences of the pairs are normal; only findings in the effect's
    own direction count.

    Args:
        effect: true mean difference; its sign does not matter.
        spread: standard deviation of a pair's difference, same unit.
        pairs: how many.
        level: two-sided level of the test.
        seed: of the simulation.
    """
    if not (0 < spread < inf) or pairs < 1:
        return nan
    if pairs <= ENUMERATED:
        shift = abs(effect) / spread
        return float((_threshold_effects(pairs, level, seed) <= shift).mean())
    return power(effect, spread / sqrt(pairs), pairs - 1, level)


def pairs_detectable(
    spread: float, pairs: int, level: float = 0.05, found: float = 0.8, seed: int = 0
) -> float:
    """Return the smallest true mean difference found with that power; infinite for too few pairs.

    Args:
        spread: standard deviation of a pair's difference.
        pairs: how many.
        level: two-sided level of the test.
        found: how often it is to be found.
        seed: of the simulation.
    """
    if not (0 < spread < inf) or pairs < 1:
        return nan
    if pairs <= ENUMERATED:
        needed = np.sort(_threshold_effects(pairs, level, seed))
        return float(spread * needed[int(np.ceil(found * needed.size)) - 1])
    return _detectable(spread / sqrt(pairs), pairs - 1, level, found)


def fewest_pairs(
    effect: float,
    spread: float,
    *,
    least: int = 6,
    most: int = 60,
    level: float = 0.05,
    found: float = 0.8,
    seed: int = 0,
) -> int | None:
    """Return the fewest pairs with that power, never under ``least``; None beyond ``most``."""
    for pairs in range(least, most + 1):
        if pairs_power(effect, spread, pairs, level, seed) >= found:
            return pairs
    return None


@lru_cache(maxsize=64)
def _threshold_effects(pairs: int, level: float, seed: int) -> Floats:
    """Return, for each simulated set of pairs, the effect in SD from which it is found.

    Adding an effect to every pair moves every mean of a subset by it, so a set is found from the
    effect on that lifts the c-th smallest of those means above 0.
    """
    noise = np.random.default_rng(seed).normal(size=(WORLDS, pairs))
    rejected = floor(level / 2 * 2**pairs + 1e-9)
    if rejected < 1:
        return np.full(WORLDS, inf)
    orders = np.arange(1, 2**pairs)
    turned = ((orders[:, None] >> np.arange(pairs)) & 1).astype(np.float64)
    turned /= turned.sum(axis=1, keepdims=True)
    out = np.empty(WORLDS)
    for begin in range(0, WORLDS, 250):
        means = noise[begin : begin + 250] @ turned.T
        out[begin : begin + 250] = -np.partition(means, rejected - 1, axis=1)[:, rejected - 1]
    return out
