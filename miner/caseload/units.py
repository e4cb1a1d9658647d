"""What one client gives to the pool: a row a usable unit, in columns that are alike for all."""

from __future__ import annotations

import numpy as np
import pandas as pd

from miner.core.results import Shape
from miner.hypotheses.design import Design
from miner.tables.unit_table import UnitTable

TIME = "time"
NUISANCE, OUTCOME, BY_CLOCK, FACTOR, DOSE = "n:", "y:", "c:", "x:", "d:"
DAY = pd.Timedelta(days=1)


def unit_rows(table: UnitTable, plan: Design) -> pd.DataFrame:
    """Return one row a usable unit.

    Columns: ``time`` (days), ``n:`` what is allowed for in every client (weekend, drift, the
    client's sensors as ``n:sensor 1`` and so on), ``y:`` outcomes, ``c:`` outcomes by the clock,
    ``x:factor@lag`` factors at the lag at which they may meet an outcome, 1 or 0, and of those
    that are measured ``d:factor@lag`` the measure, in multiples of what its slope is told for.
    """
    found = {TIME: _times(table, plan)}
    sensors = 0
    for name, column in zip(plan.nuisance_names[1:], plan.nuisance.T[1:], strict=True):
        if name.startswith("sensor "):
            sensors += 1
            name = f"sensor {sensors}"
        found[f"{NUISANCE}{name}"] = column
    for target in plan.targets:
        found[f"{OUTCOME}{target.name}"] = target.values
        found[f"{BY_CLOCK}{target.name}"] = target.by_clock
        for item in target.items:
            found[factor_column(item.factor, item.lag)] = item.values
            if item.dose is not None:
                found[factor_column(item.factor, item.lag, Shape.DOSE)] = item.dose
    return pd.DataFrame({name: np.asarray(found[name], dtype=float) for name in found})


def factor_column(factor: str, lag: int, shape: Shape = Shape.CUT) -> str:
    """Return the name of the column that holds a factor, or its dose, so many days earlier."""
    return f"{DOSE if shape is Shape.DOSE else FACTOR}{factor}@{lag}"


def _times(table: UnitTable, plan: Design) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    if plan.unit == "day":
        return np.asarray(plan.times, dtype=float)
    starts = pd.to_datetime(table.frame.loc[list(plan.names), "start"])
    minutes = starts.groupby(starts).cumcount()  # of two meals at one time the later is a minute on
    return np.asarray((starts - pd.Timestamp(0)) / DAY + minutes / 1440, dtype=float)
