"""Intervals for one proportion and for the difference of two independent ones."""

from __future__ import annotations

from math import nan, sqrt

Interval = tuple[float, float]


def wilson(successes: int, trials: int, confidence: float = 0.95) -> Interval:
    """Return Wilson's score interval of a proportion, without continuity correction.

    Formula: (2 n p + z^2 -+ z sqrt(z^2 + 4 n p (1 - p))) / (2 (n + z^2)).

    Args:
        successes: count, from 0 to ``trials``.
        trials: count; of none the interval is (NaN, NaN).
        confidence: two-sided coverage, between 0 and 1.

    Source: Newcombe 1998, Stat Med 17:857-872, method 3.
    """
    if trials == 0:
        return nan, nan
    from scipy.special import ndtri

    z = float(ndtri((1 + confidence) / 2))
    share = successes / trials
    middle = 2 * successes + z * z
    half = z * sqrt(z * z + 4 * successes * (1 - share))
    low, high = (middle - half) / (2 * (trials + z * z)), (middle + half) / (2 * (trials + z * z))
    return (0.0 if successes == 0 else low), (1.0 if successes == trials else high)


def clopper_pearson(successes: int, trials: int, confidence: float = 0.95) -> Interval:
    """Return the exact interval of a proportion, by inverting two one-sided binomial tests.

    Args:
        successes: count, from 0 to ``trials``.
        trials: count; of none the interval is (NaN, NaN).
        confidence: two-sided coverage, between 0 and 1.

    Source: Clopper and Pearson 1934, Biometrika 26:404-413; Newcombe 1998, Stat Med 17:857-872,
    method 5.
    """
    if trials == 0:
        return nan, nan
    from scipy.special import betaincinv

    tail, failures = (1 - confidence) / 2, trials - successes
    low = 0.0 if successes == 0 else float(betaincinv(successes, failures + 1, tail))
    high = 1.0 if failures == 0 else float(betaincinv(successes + 1, failures, 1 - tail))
    return low, high


def newcombe(
    successes: int, trials: int, other_successes: int, other_trials: int, confidence: float = 0.95
) -> Interval:
    """Return the interval of the difference of two independent proportions, first minus other.

    Formula: with d = p1 - p2 and Wilson's limits l, u of each:
    d - sqrt((p1 - l1)^2 + (u2 - p2)^2) to d + sqrt((u1 - p1)^2 + (p2 - l2)^2).

    Args:
        successes: count of the first sample, from 0 to ``trials``.
        trials: count of the first sample; of none the interval is (NaN, NaN).
        other_successes: count of the other sample, from 0 to ``other_trials``.
        other_trials: count of the other sample; of none the interval is (NaN, NaN).
        confidence: two-sided coverage, between 0 and 1.

    Source: Newcombe 1998, Stat Med 17:873-890, method 10.
    """
    if trials == 0 or other_trials == 0:
        return nan, nan
    first, other = successes / trials, other_successes / other_trials
    first_low, first_high = wilson(successes, trials, confidence)
    other_low, other_high = wilson(other_successes, other_trials, confidence)
    difference = first - other
    low = difference - sqrt((first - first_low) ** 2 + (other_high - other) ** 2)
    high = difference + sqrt((first_high - first) ** 2 + (other - other_low) ** 2)
    return low, high
