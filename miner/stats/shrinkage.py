"""What to expect on new units of a difference that was picked because it was large."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isnan, nan, sqrt


@dataclass(frozen=True, slots=True)
class Expected:
    """A difference shrunk towards 0, and the standard error it then has, both in its own unit."""

    difference: float
    standard_error: float


def expected(difference: float, se: float, spread: float) -> Expected:
    """Return a difference shrunk towards 0 by how far true differences are thought to spread.

    Formula: difference * spread^2 / (spread^2 + se^2), with standard error
    spread * se / sqrt(spread^2 + se^2): the normal distribution that follows from a normal one
    around 0. NaN where both se and spread are 0, or anything is unknown.

    Args:
        difference: as estimated, in the outcome's unit.
        se: its standard error, same unit, not negative; infinite says that nothing was learnt.
        spread: standard deviation of true differences of this kind, same unit, not negative.

    Source: Gelman et al. 2014, Bayesian Data Analysis, 3rd ed., eq. 2.11-2.12.
    """
    total = spread**2 + se**2
    if isnan(difference) or not total > 0:
        return Expected(nan, nan)
    if se == inf:
        return Expected(0.0, spread)
    return Expected(difference * spread**2 / total, spread * se / sqrt(total))
