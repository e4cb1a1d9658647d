"""Whether an outcome is missing more often with a factor than without it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from miner.core.messages import Message, message
from miner.hypotheses.design import Item, combine, lagged
from miner.stats.proportions import newcombe
from miner.tables.unit_table import UnitTable


def missing_more_often(
    table: UnitTable, items: Sequence[Item], outcome: str, among: NDArray[np.bool_]
) -> tuple[Message, ...]:
    """Return a note when the 95 % interval of the two shares' difference leaves out 0.

    Args:
        table: every unit, used or not.
        items: the factors of the rule.
        outcome: an outcome's name.
        among: shape (units,), the units the question is about.
    """
    frame = table.frame
    values = combine([lagged(frame, item.factor, item.lag) for item in items])
    values = np.where(among, values, np.nan)
    absent = frame[outcome].isna().to_numpy() | ~frame["usable"].to_numpy(dtype=bool)
    with_, without = values == 1, values == 0
    if not with_.any() or not without.any():
        return ()
    x1, x2 = int((absent & with_).sum()), int((absent & without).sum())
    low, high = newcombe(x1, int(with_.sum()), x2, int(without.sum()))
    if low <= 0 <= high or not np.isfinite(low + high):
        return ()
    on = {"with_": x1, "of_with": int(with_.sum()), "without": x2, "of_without": int(without.sum())}
    return (message("hypotheses.missing_more_often", unit=table.unit, **on),)
