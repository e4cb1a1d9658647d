"""The largest climb within a few hours, on smoothed readings of one sensor at a time."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pandas.api.indexers import BaseIndexer

from miner.tables.clockwork import Floats, Times
from miner.tables.glucose.trace import Trace

SMOOTHED_OVER_MIN = 15
WITHIN_MIN = 180
BEYOND = 1e9


class _Given(BaseIndexer):
    """Windows that begin at given places and end with the row itself."""

    begins: NDArray[np.int64]

    def get_window_bounds(  # pandas asks for these names
        self,
        num_values: int = 0,
        min_periods: int | None = None,  # noqa: ARG002
        center: bool | None = None,  # noqa: ARG002
        closed: str | None = None,  # noqa: ARG002
        step: int | None = None,  # noqa: ARG002
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        return self.begins, np.arange(1, num_values + 1, dtype=np.int64)


def smoothed(trace: Trace) -> Floats:
    """Return the median of each sensor's readings within 7.5 minutes either side of each.

    LO and HI count as beyond every reading; where the median is one of them it is -1e9 or 1e9.
    """
    bounded = np.clip(trace.ordered, -BEYOND, BEYOND)
    out = np.empty(bounded.size)
    for sensor in np.unique(trace.sensor):
        rows = trace.sensor == sensor
        series = pd.Series(bounded[rows], index=trace.at[rows].astype("datetime64[s]"))
        window = pd.Timedelta(minutes=SMOOTHED_OVER_MIN)
        rolled = series.rolling(window, center=True, closed="both", min_periods=1).median()
        out[rows] = rolled.to_numpy()
    return beyond(out)


def beyond(medians: Floats) -> Floats:
    """Return medians, with those of which half is beyond the sensor beyond it as a whole."""
    return np.where(np.abs(medians) > BEYOND / 4, np.sign(medians) * BEYOND, medians)


def biggest_climbs(trace: Trace, smooth: Floats, low: Times, high: Times) -> Floats:
    """Return, for each run of readings, the largest climb to a later reading within 3 hours.

    Formula: max over j of s_j - min(s_i : i <= j, t_j - t_i <= 180 min, same sensor, same run).

    Args:
        trace: the readings.
        smooth: the smoothed readings.
        low: place of the first reading of each run; runs are in time order, none overlapping.
        high: one past the place of its last reading.

    Returns:
        mg/dL a run, 0 where nothing climbs, NaN without readings, infinite where it starts or
        ends beyond what the sensor shows.
    """
    out = np.full(low.size, np.nan)
    if not smooth.size or not low.size:
        return out
    run = np.searchsorted(low, np.arange(smooth.size), side="right") - 1
    run = np.where(np.arange(smooth.size) < high[run], run, -1)
    order = np.lexsort((trace.at, trace.sensor))
    series, runs = smooth[order], run[order]
    ahead = trace.sensor[order] * (1 << 40) + trace.at[order]
    begins = np.searchsorted(ahead, ahead - WITHIN_MIN * 60, side="left")
    group = trace.sensor[order] * (low.size + 1) + runs
    opens = np.flatnonzero(np.diff(group, prepend=group[0] - 1))
    block = np.searchsorted(opens, np.arange(series.size), side="right") - 1
    begins = np.maximum(begins, opens[block]).astype(np.int64)
    lowest = pd.Series(series).rolling(_Given(begins=begins), min_periods=1).min()
    climb = series - lowest.to_numpy()
    inside = runs >= 0
    best = np.full(low.size, -np.inf)
    np.maximum.at(best, runs[inside], climb[inside])
    seen = np.isfinite(best)
    out[seen] = np.where(best[seen] > BEYOND / 2, np.inf, best[seen])
    return out
