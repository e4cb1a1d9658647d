"""Where yes begins: turns the numbers behind a factor into 1, 0 or unknown."""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan, nan

import numpy as np

from miner.rulebook import FactorRule
from miner.tables.clockwork import Floats
from miner.tables.found import Found, because

FEWEST_FOR_OWN_CUT = 8
OWN_CUTS = ("own_low_quarter", "own_high_quarter", "below_own_median", "above_own_median_by")
FROM_ABOVE = ("at_least", "own_high_quarter", "above_own_median_by", "present")


def cut(found: Sequence[Found], rule: FactorRule, usable: Sequence[bool]) -> list[Found]:
    """Return the same cells with ``decided`` set to 1, 0 or NaN.

    The client's own quarter or median is taken over usable days with a known number; with fewer
    than eight of them it is unknown. A number known only to be at least so much is decided where
    that is enough: yes where the cut asks for much, no where it asks for little.

    Args:
        found: one number a day.
        rule: the factor.
        usable: which days the client's own cut may rest on.
    """
    value = np.array([item.value for item in found], dtype=np.float64)
    known = np.asarray(usable, dtype=bool) & ~np.isnan(value)
    if rule.cut in OWN_CUTS and known.sum() < FEWEST_FOR_OWN_CUT:
        count = int(known.sum())
        why = because("too_few_for_own_level", n=count, need=FEWEST_FOR_OWN_CUT)
        return [Found(item.value, item.why or why, item.rows, nan, item.floor) for item in found]
    at = threshold(value[known], rule)
    return [
        Found(item.value, item.why, item.rows, _decide(item, rule, at), item.floor)
        for item in found
    ]


def threshold(known: Floats, rule: FactorRule) -> float:
    """Return the number at which yes begins, from the client's known usable days where own."""
    if rule.cut == "own_low_quarter":
        return float(np.quantile(known, 0.25))
    if rule.cut == "own_high_quarter":
        return float(np.quantile(known, 0.75))
    if rule.cut == "below_own_median":
        return float(np.median(known))
    if rule.cut == "above_own_median_by":
        return float(np.median(known)) + (rule.at or 0.0)
    return rule.at or 0.0


def _decide(item: Found, rule: FactorRule, at: float) -> float:
    if item.known:
        return float(_past(item.value, rule.cut, at))
    if not isnan(item.floor):
        past = _past(item.floor, rule.cut, at)
        if past == (rule.cut in FROM_ABOVE):
            return float(past)
    return item.decided


def _past(value: float, name: str, at: float) -> bool:
    if name in ("at_least", "above_own_median_by"):
        return value >= at
    if name in ("own_high_quarter", "present"):
        return value > at
    return value < at
