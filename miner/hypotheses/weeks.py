"""Months in which each habit is moved by whole weeks: its weekdays stay, what it met does not.

A model of the outcome does not hold a client's own week. Here the outcome is as it was recorded,
and every habit keeps its weekdays, its spells and its gaps; only the weeks no longer meet.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.tables.unit_table import UnitTable

WEEK = 7


@dataclass(frozen=True, slots=True)
class Weeks:
    """Where each row of a table finds its habits when they are moved by so many weeks.

    Attributes:
        sources: shape (weeks - 1, rows); the row that lies 1, 2, ... weeks later, from the last
            week on to the first; -1 where there is none.
    """

    table: UnitTable
    sources: NDArray[np.intp]

    @property
    def shifts(self) -> int:
        """By how many different numbers of weeks a habit can be moved."""
        return len(self.sources)


def weeks_of(table: UnitTable) -> Weeks:
    """Return the table with where its rows lie, whole weeks apart.

    A day meets the day of another week, a meal the same meal of it (the second snack the second).
    """
    days = table.frame["day_number"].to_numpy(dtype=int)
    slots = _slots(table.frame)
    if not len(days):
        return Weeks(table, np.empty((0, 0), dtype=np.intp))
    offsets = days - days.min()
    weeks = int(offsets.max()) // WEEK + 1
    place = {key: at for at, key in enumerate(zip(offsets.tolist(), slots, strict=True))}
    sources = [
        [
            place.get(((day + WEEK * shift) % (WEEK * weeks), slot), -1)
            for day, slot in zip(offsets.tolist(), slots, strict=True)
        ]
        for shift in range(1, weeks)
    ]
    return Weeks(table, np.array(sources, dtype=np.intp).reshape(weeks - 1, len(days)))


def moved(weeks: Weeks, rng: np.random.Generator) -> UnitTable:
    """Return a month with every habit moved by some whole weeks of its own, drawn by chance.

    What would come from outside the record is unknown.

    Args:
        weeks: of a record of at least two weeks.
        rng: the source of chance.
    """
    table = weeks.table
    frame, measures = table.frame.copy(), table.measures.copy()
    for name in table.factors:
        source = weeks.sources[rng.integers(weeks.shifts)]
        for columns in (frame, measures):
            if name in columns:
                values = columns[name].to_numpy(dtype=float)
                columns[name] = np.where(source >= 0, values[source], np.nan)
    return replace(table, frame=frame, measures=measures)


def _slots(frame: pd.DataFrame) -> list[tuple[str, int]]:
    """Return what tells the rows of one day apart: the meal, and which of its kind it is."""
    meal = frame["meal"].astype(str) if "meal" in frame else pd.Series("", index=frame.index)
    order = frame.groupby([frame["day_number"], meal]).cumcount()
    return list(zip(meal.tolist(), order.tolist(), strict=True))
