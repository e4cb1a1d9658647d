"""Association measures of a rule, from counts.

Every function takes counts of units as arrays that broadcast against each other and returns an
array of their shape; what has no value (nothing to divide by) is NaN.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def support(both: ArrayLike, units: ArrayLike) -> Floats:
    """Return the share of units with both sides of the rule: both / units.

    Args:
        both: units in which the factor and the outcome occur.
        units: all units in which both are known.

    Source: Agrawal, Imielinski and Swami 1993, SIGMOD, 207-216.
    """
    return _ratio(both, units)


def confidence(both: ArrayLike, first: ArrayLike) -> Floats:
    """Return the share of the units with the factor in which the outcome occurs: both / first.

    Args:
        both: units in which the factor and the outcome occur.
        first: units in which the factor occurs.

    Source: Agrawal, Imielinski and Swami 1993, SIGMOD, 207-216.
    """
    return _ratio(both, first)


def lift(both: ArrayLike, first: ArrayLike, second: ArrayLike, units: ArrayLike) -> Floats:
    """Return how often both occur, over how often they would if unrelated.

    Formula: both * units / (first * second).

    Args:
        both: units in which the factor and the outcome occur.
        first: units in which the factor occurs.
        second: units in which the outcome occurs.
        units: all units in which both are known.

    Source: Brin, Motwani, Ullman and Tsur 1997, SIGMOD, 255-264 (as "interest").
    """
    expected = np.multiply(_counts(first), _counts(second))
    return _ratio(np.multiply(_counts(both), _counts(units)), expected)


def leverage(both: ArrayLike, first: ArrayLike, second: ArrayLike, units: ArrayLike) -> Floats:
    """Return the share of units with both, less what it would be if they were unrelated.

    Formula: both / units - (first / units) * (second / units).

    Args:
        both: units in which the factor and the outcome occur.
        first: units in which the factor occurs.
        second: units in which the outcome occurs.
        units: all units in which both are known.

    Source: Piatetsky-Shapiro 1991, Knowledge Discovery in Databases, 229-248.
    """
    return _ratio(both, units) - _ratio(first, units) * _ratio(second, units)


def _counts(values: ArrayLike) -> Floats:
    return np.asarray(values, dtype=np.float64)


def _ratio(above: ArrayLike, below: ArrayLike) -> Floats:
    top, bottom = np.broadcast_arrays(_counts(above), _counts(below))
    result = np.full(top.shape, np.nan)
    np.divide(top, bottom, out=result, where=bottom > 0)
    return result
