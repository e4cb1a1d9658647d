"""The client's own higher quarter of an outcome: a label for talking, never for deciding."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import MinerError, closest

if TYPE_CHECKING:
    from miner.rulebook import RuleBook
    from miner.tables.columns import Floats
    from miner.tables.unit_table import UnitTable

FEWEST_OF_A_SENSOR = 8
WORST_SHARE = 0.25
TIES_ORDERED_BY = {"minutes_above": "day_mean"}


def higher_quarter(table: UnitTable, outcome: str, rules: RuleBook) -> pd.Series:
    """Return 1 for units in the worse quarter of an outcome, 0 for the others, NaN unknown.

    Only usable units count. Ties of ``minutes_above`` by day are ordered by ``day_mean``.

    Raises:
        MinerError: the table has no such outcome.
    """
    if outcome not in table.outcomes:
        raise MinerError(
            "tables.outcome_unknown",
            outcome=outcome,
            unit=table.unit,
            known=table.outcomes,
            close=closest(outcome, table.outcomes),
        )
    frame = table.frame
    rule = rules.outcome(outcome, table.unit)
    values = frame[outcome].where(frame["usable"]).to_numpy(np.float64)
    second = TIES_ORDERED_BY.get(outcome)
    order = frame[second].to_numpy(np.float64) if second in table.outcomes else None
    label = worst_quarter(
        values,
        frame["sensor"].to_numpy(object),
        worse=rule.worse,
        flat_below=rule.smallest_worth_it,
        then=order,
        largest_share_tied=rules.guardrails.largest_share_tied,
    )
    return pd.Series(label, index=frame.index, name=outcome)


def worst_quarter(
    values: Floats,
    sensor: NDArray[np.object_],
    *,
    worse: str = "higher",
    flat_below: float = 0.0,
    then: Floats | None = None,
    largest_share_tied: float = 0.5,
) -> Floats:
    """Return 1 for values beyond the worse quartile of their own sensor, 0 for others, NaN.

    Sensors with fewer than eight known values are looked at together; where even together they
    have fewer, compared with all values. Quartiles interpolate linearly between order statistics
    (Hyndman & Fan 1996, Am Stat 50:361, type 7). No value is labelled where more than the given
    share of them is one and the same, or where they are closer together than ``flat_below``.

    Args:
        values: one number a unit, NaN unknown.
        sensor: the sensor of each unit.
        worse: "higher" or "lower".
        flat_below: a spread from smallest to largest below this is a flat month.
        then: what orders equal values, same direction.
        largest_share_tied: the largest share of equal values.
    """
    out = np.full(values.size, np.nan)
    known = np.flatnonzero(~np.isnan(values))
    if not known.size:
        return out
    seen = values[known]
    tied = np.unique(seen, return_counts=True)[1].max() / seen.size
    if tied > largest_share_tied or float(np.ptp(seen)) < flat_below:
        return out
    second = np.zeros(seen.size) if then is None else np.nan_to_num(then[known], nan=-np.inf)
    # the place of each value in order, equal pairs sharing one
    pairs = np.unique(np.stack([seen, second], axis=1), axis=0, return_inverse=True)
    place = pairs[1].reshape(-1).astype(np.float64) * (1 if worse == "higher" else -1)
    own = np.asarray(sensor, dtype=object)[known].astype(str)
    _, codes, counts = np.unique(own, return_inverse=True, return_counts=True)
    groups = np.where(counts[codes] >= FEWEST_OF_A_SENSOR, codes, -1)
    for group in np.unique(groups):
        rows = groups == group
        base = place[rows] if rows.sum() >= FEWEST_OF_A_SENSOR else place
        out[known[rows]] = place[rows] > np.quantile(base, 1 - WORST_SHARE)
    return out
