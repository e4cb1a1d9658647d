"""Two-stage pooling: a slope in every group, then their random-effects mean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from miner.core.messages import Words, message

Floats = npt.NDArray[np.float64]


def within_between(x: npt.ArrayLike, groups: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Split a column into what differs within groups and what differs between them.

    Args:
        x: (units,) values; NaN where unknown, left out of the means and unknown in both parts.
        groups: (units,) the group of each unit.

    Returns:
        (units,) deviation from the mean of the group, and (units,) that mean.

    Source: Curran & Bauer 2011, Annual Review of Psychology 62:583-619.
    """
    import pandas as pd

    values = np.asarray(x, dtype=np.float64)
    codes, names = pd.factorize(np.asarray(groups))
    known = np.isfinite(values)
    counts = np.bincount(codes[known], minlength=len(names)).astype(np.float64)
    sums = np.bincount(codes[known], weights=values[known], minlength=len(names))
    means = np.divide(sums, counts, out=np.full(len(names), np.nan), where=counts > 0)
    between = np.where(known, means[codes], np.nan)
    return values - between, between


@dataclass(frozen=True, slots=True)
class Pooled:
    """A random-effects mean.

    Attributes:
        estimate: the mean over groups.
        standard_error: after the modified Hartung-Knapp adjustment.
        freedom: degrees of freedom of its t, groups less one.
        interval: limits at the asked level.
        p: two-sided, of the mean being 0.
        tau2: variance of the true values between groups (Paule-Mandel).
        spread: its square root, in the unit of the estimates.
        q: Hartung-Knapp variance factor before it is held to at least 1.
        groups: how many groups were pooled.
        left_out: how many had no usable value.
        problem: why there is no answer; "" where there is one.
    """

    estimate: float
    standard_error: float
    freedom: int
    interval: tuple[float, float]
    p: float
    tau2: float
    spread: float
    q: float
    groups: int
    left_out: int
    problem: Words


def paule_mandel(
    estimates: npt.ArrayLike, standard_errors: npt.ArrayLike, *, level: float = 0.95
) -> Pooled:
    """Pool estimates with their standard errors.

    tau2 >= 0 solves sum w_i (y_i - m)^2 = k - 1 with w_i = 1 / (s_i^2 + tau2), m the weighted
    mean; 0 where the sum is smaller already. The variance of m is max(1, q) / sum w_i with
    q = sum w_i (y_i - m)^2 / (k - 1), its reference a t with k - 1 degrees of freedom.

    Args:
        estimates: (groups,) one value a group, NaN where it has none.
        standard_errors: (groups,) above 0, NaN where unknown; such groups are counted as left out.
        level: of the interval.

    Returns:
        The pooled mean; NaN and a reason where fewer than two groups can be pooled.

    Source: Paule & Mandel 1982, J Res Natl Bur Stand 87:377-385; Hartung & Knapp 2001,
    Stat Med 20:1771-1782; Rover, Knapp & Friede 2015, BMC Med Res Methodol 15:99.
    """
    from scipy.stats import t

    y, s = np.asarray(estimates, dtype=np.float64), np.asarray(standard_errors, dtype=np.float64)
    if y.shape != s.shape or y.ndim != 1:
        raise ValueError("lengths differ")
    used = np.isfinite(y) & np.isfinite(s) & (s > 0)
    y, s, left_out = y[used], s[used], int((~used).sum())
    k = int(y.size)
    if k < 2:
        nan = float("nan")
        problem = message("stats.too_few_groups", groups=k)
        return Pooled(nan, nan, 0, (nan, nan), nan, nan, nan, nan, k, left_out, problem)
    tau2 = _between_variance(y, s)
    mean, q = _mean_and_factor(y, s, tau2)
    error = float(np.sqrt(max(1.0, q) / (1 / (s**2 + tau2)).sum()))
    reach = float(t.ppf((1 + level) / 2, k - 1)) * error
    p = float(2 * t.sf(abs(mean) / error, k - 1))
    interval = (mean - reach, mean + reach)
    return Pooled(mean, error, k - 1, interval, p, tau2, tau2**0.5, q, k, left_out, "")


def _mean_and_factor(y: Floats, s: Floats, tau2: float) -> tuple[float, float]:
    weights = 1 / (s**2 + tau2)
    mean = float(weights @ y / weights.sum())
    return mean, float(weights @ (y - mean) ** 2 / (y.size - 1))


def _between_variance(y: Floats, s: Floats) -> float:
    from scipy.optimize import brentq

    if _mean_and_factor(y, s, 0.0)[1] <= 1:
        return 0.0
    highest = float(y.var(ddof=1))
    return float(
        brentq(
            lambda tau2: _mean_and_factor(y, s, tau2)[1] - 1,
            0.0,
            highest,
            xtol=1e-14 * highest,
            rtol=1e-13,
        )
    )
