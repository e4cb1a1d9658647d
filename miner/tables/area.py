"""The area of a curve above its own baseline."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def incremental_area(
    minutes: Floats,
    values: Floats,
    baseline: float,
    until: float = 120.0,
    *,
    longest_gap: float = np.inf,
) -> float:
    """Return the incremental area above a baseline from minute 0 to ``until``.

    Straight lines between readings; only what lies above the baseline counts, and where the line
    crosses it the triangle is cut at the crossing: over a step of ``h`` minutes from ``a`` above
    to ``b`` below it adds ``h a^2 / (2 (a + b))``.

    Args:
        minutes: minutes after the start (readings before 0 and after ``until`` serve to draw the
            line there), any order.
        values: one value a minute given, any unit; NaN is no reading.
        baseline: in the unit of ``values``.
        until: minutes after the start at which the area ends.
        longest_gap: the longest stretch in minutes over which a line may be drawn.

    Returns:
        Unit of ``values`` times minutes; NaN where the readings do not reach from 0 to ``until``,
        or leave a longer gap between.

    Raises:
        ValueError: the arrays differ in length, or ``until`` is negative.

    Source: FAO Food and Nutrition Paper 66 (1998), annex 1; ISO 26642:2010 (neither text was
    read; the rule after Wolever and Jenkins 1986, Am J Clin Nutr 43:167).
    """
    minutes, values = np.asarray(minutes, float), np.asarray(values, float)
    if minutes.shape != values.shape or until < 0:
        raise ValueError("unusable values")
    known = np.isfinite(minutes) & np.isfinite(values)
    order = np.argsort(minutes[known], kind="stable")
    t, v = minutes[known][order], values[known][order]
    if not len(t) or t[0] > 0 or t[-1] < until or not np.isfinite(baseline):
        return float("nan")
    used = slice(max(np.searchsorted(t, 0, "right") - 1, 0), np.searchsorted(t, until) + 1)
    if np.any(np.diff(t[used]) > longest_gap):
        return float("nan")
    inside = (t > 0) & (t < until)
    x = np.concatenate(([0.0], t[inside], [until]))
    d = np.interp(x, t, v) - baseline
    above, below = np.maximum(d, 0), np.maximum(-d, 0)
    summed, apart = above[:-1] + above[1:], below[:-1] + below[1:]
    share = np.divide(summed, summed + apart, out=np.zeros_like(summed), where=summed > 0)
    return float(np.sum(np.diff(x) * summed * share / 2))
