"""Intervals for one proportion and for the difference of two independent ones."""

from __future__ import annotations

from math import nan

Interval = tuple[float, float]


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
    from statsmodels.stats.proportion import proportion_confint

    low, high = proportion_confint(successes, trials, 1 - confidence, method="beta")
    return float(low), float(high)


def newcombe(
    successes: int, trials: int, other_successes: int, other_trials: int, confidence: float = 0.95
) -> Interval:
    """Return the interval of the difference of two independent proportions, first minus other.

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
    from statsmodels.stats.proportion import confint_proportions_2indep

    low, high = confint_proportions_2indep(
        successes, trials, other_successes, other_trials, method="newcomb", alpha=1 - confidence
    )
    return float(low), float(high)
