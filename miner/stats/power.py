"""What a record of a given length can show: power of the t test of one coefficient.

The test is two-sided at ``level``. Power counts only findings in the effect's own direction: one
in the other direction has found nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, floor, inf, isfinite, isnan, nan, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import bdtr, nctdtr, nctdtrinc, stdtrit

from miner.stats.dependence import correlation


def power(effect: float, se: float, df: float, level: float) -> float:
    """Return how often a true effect is found.

    Formula: 1 - F(t_crit; df, |effect| / se) with F the noncentral t distribution and t_crit the
    1 - level/2 quantile of the central one. NaN where se or df is not positive and finite.

    Args:
        effect: the true coefficient, in the outcome's unit; its sign does not matter.
        se: standard error of its estimate, same unit.
        df: residual degrees of freedom.
        level: two-sided level of the test, between 0 and 1.

    Source: Cohen 1988, Statistical Power Analysis, 2nd ed., ch. 2; R, power.t.test.
    """
    if not (_usable(se, df) and isfinite(effect)):
        return nan
    missed = float(nctdtr(df, abs(effect) / se, _critical(df, level)))
    # far out, where nothing is missed to 200 digits, the library has no number
    return 1.0 if isnan(missed) else 1 - missed


def detectable(se: float, df: float, level: float, power: float = 0.8) -> float:
    """Return the smallest true effect that is found with the given power.

    NaN where se or df is not positive and finite; 0 where chance alone has that power.

    Args:
        se: standard error of the estimate, in the outcome's unit.
        df: residual degrees of freedom.
        level: two-sided level of the test, between 0 and 1.
        power: how often it is to be found, between 0 and 1.

    Returns:
        The effect's size in the outcome's unit, without sign.

    Source: as ``power``, solved for the effect.
    """
    if not _usable(se, df):
        return nan
    if power <= level / 2:
        return 0.0
    return se * float(nctdtrinc(df, 1 - power, _critical(df, level)))


POINTS = ((-sqrt(3), 1 / 6), (0.0, 2 / 3), (sqrt(3), 1 / 6))
"""Three points that stand for a normal distribution, with their weights."""


@dataclass(frozen=True, slots=True)
class AtHand:
    """What units at hand say of one habit next to one outcome, for units to come.

    Attributes:
        t: that a true difference of the size asked about would have on them, on average.
        units: on which the outcome is known.
        rank: directions taken by the nuisance.
        with_: units with the habit, of a dose half of those known.
        without: likewise.
    """

    t: float
    units: int
    rank: int
    with_: float
    without: float


def power_on_new_units(
    hand: AtHand, units: int, level: float, least: int = 0, fixed_rank: int = 3
) -> float:
    """Return how often new units alone show the difference, in the direction it is expected in.

    The habit comes as often as at hand, give or take what chance does to its count: binomial, of
    which three points of a normal distribution stand for the middle. Each new unit adds as much as
    each at hand did, and the nuisance takes its share of them. With fewer
    than ``least`` units on one side nothing is found.

    Args:
        hand: what the units at hand say.
        units: new ones on which the outcome is known.
        level: one-sided level of the test.
        least: units with the habit, and without it, below which it is not tested.
        fixed_rank: directions that nuisance takes of however few units.

    Source: as ``power``; the points: Abramowitz & Stegun 1964, table 25.10.
    """
    rank = max(min(fixed_rank, hand.rank), ceil(hand.rank * units / hand.units))
    df = units - rank - 1
    known = units * (hand.with_ + hand.without) / hand.units
    if df < 1 or not isfinite(hand.t) or not known > 0:
        return 0.0
    share = hand.with_ / (hand.with_ + hand.without)
    enough = _enough(round(known), share, least)
    if not enough > 0:
        return 0.0
    each = hand.with_ * (1 - share) * (1 - hand.rank / hand.units)
    found = 0.0
    for step, weight in POINTS:
        with_ = known * share + step * sqrt(known * share * (1 - share))
        with_ = min(max(with_, least, 0.0), known - least)
        told = with_ * (1 - with_ / known) * (1 - rank / units) / each
        found += weight * power(max(hand.t, 0.0) * sqrt(told), 1.0, df, 2 * level)
    return enough * found


def _enough(units: int, share: float, least: int) -> float:
    """Return the chance that both sides have so many units, each of them at random on one."""
    if least < 1 or units < 2 * least:
        return 1.0 if least < 1 else 0.0
    return float(1 - bdtr(least - 1, units, share) - bdtr(least - 1, units, 1 - share))


def new_units_for(
    hand: AtHand, level: float, power: float = 0.8, least: int = 0, limit: int = 1000
) -> int | None:
    """Return the fewest new units with that power; None beyond the limit.

    Args:
        hand: as of :func:`power_on_new_units`, and so on.
        level: likewise.
        power: how often it is to be found.
        least: likewise.
        limit: the most units worth telling.
    """

    def reached(n: int) -> bool:
        return power_on_new_units(hand, n, level, least) >= power

    return first_count(reached, limit)


def first_count(reached: Callable[[int], bool], most: int) -> int | None:
    """Return the fewest units, at least 1, from which on something is reached; None beyond."""
    if not reached(most):
        return None
    low, high = 0, most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if reached(middle) else (middle, high)
    return high


def _usable(se: float, df: float) -> bool:
    return 0 < se < inf and 0 < df < inf


@lru_cache(maxsize=4096)
def _critical(df: float, level: float) -> float:
    return float(stdtrit(df, 1 - level / 2))


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
    matrix = correlation(times, phi, w)
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
    return detectable(spread / sqrt(pairs), pairs - 1, level, found)


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


CHUNK = 1 << 15
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class SignFlips:
    """The test of one set of pairs.

    Attributes:
        mean: of the differences, their unit.
        reached: orders whose sum is at least as large as the one seen; of those drawn, with the
            order seen itself, where not all were looked at.
        orders: how many orders were looked at.
        exact: whether they were all there are.
        p_one_sided: share of the orders with a sum as large as the one seen, or larger.
        p: the same to both sides; NaN without a pair.
        interval: the effects that the same test would not reject; None where the pairs are too
            few to reject any.
    """

    mean: float
    reached: int
    orders: int
    exact: bool
    p_one_sided: float
    p: float
    interval: tuple[float, float] | None


def change_first(pairs: int, seed: int) -> NDArray[np.bool_]:
    """Return for each pair whether the change comes first, at random; shape (pairs,)."""
    return np.random.default_rng(seed).integers(0, 2, size=pairs).astype(bool)


def sign_flips(
    differences: ArrayLike,
    *,
    level: float = 0.05,
    draws: int = 100_000,
    seed: int = 0,
    exact_up_to: int = 16,
) -> SignFlips:
    """Test paired differences over every pattern of signs, and invert the test.

    An effect d is rejected from below where, with d taken off every pair, a share of at most
    ``level / 2`` of the orders reaches the sum seen. That is so for every d under the c-th smallest
    mean of a subset of the pairs, c = floor(level / 2 * orders); likewise from above.

    Args:
        differences: shape (k,), one a pair, change minus usual; NaN is a pair without an answer.
        level: two-sided level of the interval.
        draws: orders drawn where there are more than ``2 ** exact_up_to``; the order seen is
            counted next to them.
        seed: of the draws.
        exact_up_to: the most pairs of which every order is looked at.

    Source: Fisher 1935, The Design of Experiments, section 21 (the test); Hartigan 1969, J Am Stat
    Assoc 64:1303 (means of subsets as limits); Phipson & Smyth 2010, Stat Appl Genet Mol Biol 9:39
    (the order seen among those drawn).
    """
    values = np.asarray(differences, dtype=np.float64)
    values = values[~np.isnan(values)]
    k = values.size
    if k == 0:
        nan = float("nan")
        return SignFlips(nan, 0, 0, True, nan, nan, None)
    exact = k <= exact_up_to
    drawn = None if exact else np.random.default_rng(seed)
    sums, means = _flipped(values, drawn, draws)
    tolerance = ROUNDING * max(float(np.abs(values).sum()), 1e-300)
    reached = int((sums <= tolerance).sum())
    other = int((sums >= -tolerance).sum())
    orders = sums.size
    one, low_side = reached / orders, other / orders
    p = min(1.0, 2 * min(one, low_side))
    return SignFlips(
        float(values.mean()), reached, orders, exact, one, p, _inverted(means, orders, level)
    )


def smallest_p(pairs: int) -> float:
    """Return the smallest two-sided p that so many pairs can reach: ``2 / 2 ** pairs``."""
    return min(1.0, 2.0 / 2.0**pairs)


def _flipped(
    values: Floats, drawn: np.random.Generator | None, draws: int
) -> tuple[Floats, Floats]:
    """Return the sum over the pairs turned round, and their mean (NaN for none), of each order.

    Turning a set of pairs round takes twice their sum off the sum seen: the new sum is at least
    the one seen where the sum over the set is not above 0.
    """
    k = values.size
    total = 2**k if drawn is None else draws + 1
    sums, means = np.empty(total), np.empty(total)
    for begin in range(0, total, CHUNK):
        rows = np.arange(begin, min(begin + CHUNK, total), dtype=np.int64)
        if drawn is None:
            turned = ((rows[:, None] >> np.arange(k)) & 1).astype(np.float64)
        else:
            turned = drawn.integers(0, 2, size=(rows.size, k)).astype(np.float64)
            turned[rows == 0] = 0.0
        count = turned.sum(axis=1)
        sums[rows] = turned @ values
        means[rows] = np.where(count > 0, sums[rows] / np.maximum(count, 1), np.nan)
    return sums, means


def _inverted(means: Floats, orders: int, level: float) -> tuple[float, float] | None:
    """Return the interval; an order that turns nothing round rejects no effect."""
    known = np.sort(means[~np.isnan(means)])
    rejected = floor(level / 2 * orders + ROUNDING) - (orders - known.size) + 1
    if rejected < 1 or not known.size:
        return None
    return float(known[rejected - 1]), float(known[known.size - rejected])
