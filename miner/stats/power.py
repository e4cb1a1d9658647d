"""What a record of a given length can show: power of the t test of one coefficient.

The test is two-sided at ``level``. Power counts only findings in the effect's own direction: one
in the other direction has found nothing.
"""

from __future__ import annotations

from math import inf, isfinite, nan, sqrt


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
    return _found(effect, se, df, level)


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
    from scipy.special import nctdtrinc

    return se * float(nctdtrinc(df, 1 - power, _critical(df, level)))


def units_to_settle(
    se: float,
    df: float,
    units: int,
    effect: float,
    level: float,
    power: float = 0.8,
    limit: int = 1000,
) -> int | None:
    """Return how many units in all would find an effect with the given power.

    With n units the standard error is taken as se * sqrt(units / n), as with the same habits, the
    same scatter and the same dependence, and the degrees of freedom as df + n - units.

    Args:
        se: standard error with the units at hand, in the outcome's unit.
        df: residual degrees of freedom with the units at hand.
        units: units at hand.
        effect: the true effect it is about, in the outcome's unit.
        level: two-sided level of the test, between 0 and 1.
        power: how often it is to be found, between 0 and 1.
        limit: the most units worth telling.

    Returns:
        The smallest such number, never below ``units``; None beyond the limit or where se or df
        is not positive and finite.

    Source: as ``power``, solved for the number of units.
    """
    if not _usable(se, df):
        return None

    def reached(n: int) -> bool:
        return _found(effect, se * sqrt(units / n), df + n - units, level) >= power

    if units > limit or not reached(max(units, limit)):
        return None
    low, high = units - 1, limit
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if reached(middle) else (middle, high)
    return high


def _found(effect: float, se: float, df: float, level: float) -> float:
    if not (_usable(se, df) and isfinite(effect)):
        return nan
    from scipy.special import nctdtr

    return float(1 - nctdtr(df, abs(effect) / se, _critical(df, level)))


def _usable(se: float, df: float) -> bool:
    return 0 < se < inf and 0 < df < inf


def _critical(df: float, level: float) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(df, 1 - level / 2))
