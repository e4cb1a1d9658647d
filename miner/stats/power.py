"""What a record of a given length can show: power of the t test of one coefficient.

The test is two-sided at ``level``. Power counts only findings in the effect's own direction: one
in the other direction has found nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, inf, isfinite, nan, sqrt


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


POINTS = ((-sqrt(3), 1 / 6), (0.0, 2 / 3), (sqrt(3), 1 / 6))
"""Three points that stand for a normal distribution, with their weights."""


@dataclass(frozen=True, slots=True)
class AtHand:
    """What units at hand say of one habit beside one outcome, for units to come.

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
        found += weight * _found(max(hand.t, 0.0) * sqrt(told), 1.0, df, 2 * level)
    return enough * found


def _enough(units: int, share: float, least: int) -> float:
    """Return the chance that both sides have so many units, each of them at random on one."""
    if least < 1 or units < 2 * least:
        return 1.0 if least < 1 else 0.0
    from scipy.special import bdtr

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

    if not reached(limit):
        return None
    low, high = 0, limit
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
