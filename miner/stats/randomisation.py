"""What an alternating test shows: the randomisation test over the orders its own coins allow.

A pair holds two periods; a coin said which came first. If the change did nothing, the other side of
the coin would have given the same difference with the other sign, so every pattern of signs was as
likely as the one seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
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


def coins(pairs: int, seed: int) -> NDArray[np.bool_]:
    """Return an independent fair coin for each pair, shape (pairs,)."""
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
            counted beside them.
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
