"""P-values adjusted for how many questions were asked, and evidence for how often it is read.

Holm's are by hand, because statsmodels takes 50 ms for any number of them and one ranking has
0.3 s.
"""

from __future__ import annotations

from math import exp, isfinite, log1p, nan, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtr, stdtrit

from miner.stats.power import first_count

Floats = NDArray[np.float64]
FOUND = 0.8
"""How often a true effect is to be found."""


def holm(p: ArrayLike) -> Floats:
    """Return Holm's step-down adjusted p-values: they bound the chance of any false claim.

    Formula, for p sorted upwards: max over j <= i of min(1, (m - j + 1) p_j).

    Args:
        p: shape (questions,), p-values from 0 to 1; NaN is not a question: it stays NaN and is
            not counted.

    Source: Holm 1979, Scand J Stat 6:65-70.
    """
    given, known, order = _sorted(p)
    values = given[known]
    remaining = np.arange(order.size, 0, -1)
    values[order] = np.minimum(np.maximum.accumulate(values[order] * remaining), 1.0)
    result = np.full(known.shape, np.nan)
    result[known] = values
    return result


def holm_levels(p: ArrayLike, level: float) -> Floats:
    """Return the level at which Holm's procedure judges each question: that of its own step.

    level / (m - j + 1) for the j-th smallest of m, down to the first that fails; all later ones
    have its level. A question passes exactly where its p is at or below its level.

    Args:
        p: as of :func:`holm`; NaN has none.
        level: of all questions together.

    Source: as of :func:`holm`.
    """
    given, known, order = _sorted(p)
    levels = level / np.arange(order.size, 0, -1)
    failed = np.flatnonzero(given[known][order] > levels)
    if failed.size:
        levels[failed[0] :] = levels[failed[0]]
    result = np.full(known.shape, np.nan)
    result[np.flatnonzero(known)[order]] = levels
    return result


def _sorted(p: ArrayLike) -> tuple[Floats, NDArray[np.bool_], NDArray[np.intp]]:
    given = np.asarray(p, dtype=np.float64)
    known = np.isfinite(given)
    return given, known, np.argsort(given[known], kind="stable")


def evidence(t: float, df: float, inner: float, scale: float) -> float:
    """Return the evidence value for an effect above 0.

    Formula, with m = df + 1, R2 = t^2 / (t^2 + df), v = scale^2 inner, k = v / (1 + v):
    2 (1 + v)^-1/2 (1 - k R2)^(-m/2) F(u; m), u = t sqrt(k m / (df + (1 - k) t^2)), F the
    distribution function of Student's t: twice the ratio with a normal prior on both directions
    times the share of its posterior above 0.

    Args:
        t: of the effect with the nuisance, positive in the direction asked about.
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


def units_needed(
    effect: float,
    inner_a_unit: float,
    *,
    scale: float,
    level: float,
    nuisance: int,
    most: int = 1000,
) -> tuple[int | None, int | None]:
    """Return how many units one look needs, and how many where every unit is looked at.

    One look: the one-sided t test at ``level``, found four times in five. Every look: from which
    unit on the evidence value has reached ``1 / level`` with that power.

    Args:
        effect: the true effect in SD of a unit, above 0.
        inner_a_unit: sum of squares of the habit's column that one unit adds.
        scale: as in :func:`evidence`.
        level: of either.
        nuisance: columns besides the habit.
        most: the most units worth telling.

    Returns:
        Either is None beyond ``most``.
    """
    lag = float(ndtri(FOUND))

    def one_look(n: int) -> bool:
        df = n - nuisance - 1
        seen = effect * sqrt(n * inner_a_unit) - lag
        return df >= 1 and seen >= float(stdtrit(df, 1 - level))

    def every_look(n: int) -> bool:
        df = n - nuisance - 1
        seen = effect * sqrt(n * inner_a_unit) - lag
        return df >= 1 and evidence(seen, df, n * inner_a_unit, scale) >= 1 / level

    return first_count(one_look, most), first_count(every_look, most)
