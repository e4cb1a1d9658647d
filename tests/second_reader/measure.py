"""A measure that may be known only in part, and the cuts that make a habit of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Measure:
    """A number, or what it is at least, or what the cut says of it, where it is unknown."""

    value: float = np.nan
    at_least: float = np.nan
    decided: float = np.nan


UNKNOWN = Measure()


def sure(value: float) -> Measure:
    """Return a number that is known."""
    return Measure(value, value)


def at_least(value: float) -> Measure:
    """Return an unknown number of which the least is known."""
    return Measure(np.nan, value)


def habit(rule: dict[str, object], measures: list[Measure], usable: pd.Series) -> list[float]:
    """Return yes (1), no (0) or unknown (NaN) of each measure, as the rule book cuts it."""
    value = np.array([each.value for each in measures])
    least = np.array([each.at_least for each in measures])
    cut = str(rule["cut"])
    if cut in ("own_low_quarter", "own_high_quarter", "below_own_median"):
        own = value[usable.to_numpy() & ~np.isnan(value)]
        if len(own) < 8:
            return [np.nan] * len(value)
        share = {"own_low_quarter": 0.25, "own_high_quarter": 0.75, "below_own_median": 0.5}[cut]
        at = float(np.quantile(own, share))
    else:
        at = float(rule.get("at", 0))  # type: ignore[arg-type]
    up = {"at_least": value >= at, "present": value > 0, "own_high_quarter": value > at}
    yes = up.get(cut, value < at)
    found = np.where(np.isnan(value), np.nan, yes.astype(float))
    partly = np.isnan(value) & ~np.isnan(least)
    if cut in up:
        reached = least >= at if cut == "at_least" else least > (0 if cut == "present" else at)
        found[partly & reached] = 1.0
    else:
        found[partly & (least >= at)] = 0.0
    decided = np.array([each.decided for each in measures])
    return np.where(np.isnan(value) & ~np.isnan(decided), decided, found).tolist()
