"""Whether two tables say the same: known and unknown equal, numbers within 1e-9."""

from __future__ import annotations

import numpy as np
import pandas as pd

from miner import steps

NEAR = 1e-9


def differences(one: pd.DataFrame, two: pd.DataFrame) -> dict[str, str]:
    """Return the columns in which two tables differ, each with the first row that does."""
    if list(one.index) != list(two.index):
        apart = set(one.index) ^ set(two.index)
        return {"rows": f"{len(one)} and {len(two)}: {sorted(map(str, apart))[:3]}"}
    found = dict.fromkeys(set(one) ^ set(two), "in one of them only")
    for name in (name for name in one if name in two):
        apart = np.flatnonzero(~_same(one[name], two[name]))
        if apart.size:
            at = apart[0]
            found[name] = (
                f"{apart.size} rows, first {one.index[at]}: "
                f"{one[name].iloc[at]} and {two[name].iloc[at]}"
            )
    return found


def _same(one: pd.Series, two: pd.Series) -> np.ndarray:
    if not (pd.api.types.is_numeric_dtype(one) and pd.api.types.is_numeric_dtype(two)):
        return (one.astype("str") == two.astype("str")).to_numpy()
    return np.isclose(one.to_numpy(float), two.to_numpy(float), NEAR, NEAR, equal_nan=True)


def table_differences(one, two) -> dict[str, dict[str, str]]:
    """Return where the tables by day and by meal of two clients differ, and what is in them."""
    found = {}
    for unit, make in (("day", steps.days), ("meal", steps.meals)):
        first, second = make(one), make(two)
        found[unit] = differences(first.frame, second.frame)
        found[f"{unit} measures"] = differences(
            pd.DataFrame(first.measures), pd.DataFrame(second.measures)
        )
    return {name: apart for name, apart in found.items() if apart}
