"""A reading that stays true however often it is looked at: one-sided evidence values.

An evidence value is a likelihood ratio that averages at most 1 where nothing is true, at whatever
moment one stops; so the chance that it ever reaches ``1 / level`` is at most ``level``. Here it
compares "no effect" with effects in one direction, half-normal with a given scale in SD of a unit;
the scatter and the nuisance have right-invariant priors, under which the ratio has this property.

Source: Ville 1939, Etude critique de la notion de collectif (the bound); Lai 1976, Ann Stat 4:265
and Perez-Ortiz, Lardy, de Heide & Grunwald 2024, Ann Stat 52:1410 (the t statistic with an
invariant prior); Lindon, Ham, Tingley & Bojinov 2022, arXiv 2210.08589 (linear models).
"""

from __future__ import annotations

from collections.abc import Callable
from math import ceil, exp, isfinite, log1p, nan, sqrt

from scipy.special import ndtri, stdtr, stdtrit


def evidence(t: float, df: float, inner: float, scale: float) -> float:
    """Return the evidence value for an effect above 0.

    Formula, with m = df + 1, R2 = t^2 / (t^2 + df), v = scale^2 inner, k = v / (1 + v):
    2 (1 + v)^-1/2 (1 - k R2)^(-m/2) F(u; m), u = t sqrt(k m / (df + (1 - k) t^2)), F the
    distribution function of Student's t: twice the ratio with a normal prior on both directions
    times the share of its posterior above 0.

    Args:
        t: of the effect beside the nuisance, positive in the direction asked about.
        df: residual degrees of freedom.
        inner: sum of squares of the habit's column with the nuisance taken out (about how many
            units are being compared).
        scale: of the effects compared with, in SD of a unit.

    Returns:
        0 or more; 1 says nothing; NaN where it is not defined.
    """
    if not (isfinite(t) and df >= 1 and inner > 0 and scale > 0):
        return nan
    m = df + 1
    v = scale * scale * inner
    k = v / (1 + v)
    share = t * t / (t * t + df)
    ratio = exp(-0.5 * log1p(v) - 0.5 * m * log1p(-k * share))
    lean = t * sqrt(k * m / (df + (1 - k) * t * t))
    return float(2 * ratio * stdtr(m, lean))


def t_needed(level: float, df: float, inner: float, scale: float) -> float:
    """Return the t at which the evidence value reaches ``1 / level``; infinite if it cannot.

    Args:
        level: largest chance of ever reaching it where nothing is true.
        df: residual degrees of freedom.
        inner: as in :func:`evidence`.
        scale: as in :func:`evidence`.
    """
    low, high = 0.0, 1e6
    if not evidence(high, df, inner, scale) >= 1 / level:
        return float("inf")
    for _ in range(80):
        middle = (low + high) / 2
        reached = evidence(middle, df, inner, scale) >= 1 / level
        low, high = (low, middle) if reached else (middle, high)
    return high


def units_needed(
    effect: float,
    inner_a_unit: float,
    *,
    scale: float,
    level: float,
    nuisance: int,
    found: float = 0.8,
    most: int = 1000,
) -> tuple[int | None, int | None]:
    """Return how many units one look needs, and how many where every unit is looked at.

    One look: the one-sided t test at ``level``. Every look: from which unit on the evidence value
    has reached ``1 / level`` with that power.

    Args:
        effect: the true effect in SD of a unit, above 0.
        inner_a_unit: sum of squares of the habit's column that one unit adds.
        scale: as in :func:`evidence`.
        level: of either.
        nuisance: columns beside the habit.
        found: how often it is to be found.
        most: the most units worth telling.

    Returns:
        Either is None beyond ``most``.
    """
    lag = float(ndtri(found))

    def one_look(n: int) -> bool:
        df = n - nuisance - 1
        seen = effect * sqrt(n * inner_a_unit) - lag
        return df >= 1 and seen >= float(stdtrit(df, 1 - level))

    def every_look(n: int) -> bool:
        df = n - nuisance - 1
        seen = effect * sqrt(n * inner_a_unit) - lag
        return df >= 1 and evidence(seen, df, n * inner_a_unit, scale) >= 1 / level

    return _first(one_look, most), _first(every_look, most)


def _first(reached: Callable[[int], bool], most: int) -> int | None:
    if not reached(most):
        return None
    low, high = 0, most
    while high - low > 1:
        middle = ceil((low + high) / 2)
        low, high = (low, middle) if reached(middle) else (middle, high)
    return high
