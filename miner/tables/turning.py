"""Smooths readings by time and finds where they turn."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

Floats = npt.NDArray[np.float64]
_NS_A_MINUTE = 60e9


def running_median(minutes: Floats, values: Floats, window_min: float) -> Floats:
    """Return the median of the readings within half a window of each reading.

    Args:
        minutes: ascending, any spacing.
        values: one value a minute given.
        window_min: width of the window in minutes; at a wider cadence nothing changes.
    """
    if not len(minutes) or window_min <= 0:
        return np.array(values, float)
    since = pd.to_timedelta(np.round((minutes - minutes[0]) * _NS_A_MINUTE).astype("int64"))
    window = pd.Timedelta(round(window_min * _NS_A_MINUTE), unit="ns")
    rolling = pd.Series(values, index=since).rolling(window, center=True, closed="both")
    return rolling.median().to_numpy(float)


def turning_points(values: Floats, least: float) -> tuple[tuple[int, int], ...]:
    """Return the climbs of a series as (trough, peak) pairs of indices.

    A peak counts when the series falls by ``least`` after it, and a trough when it climbs by
    ``least`` after it: inside the series these are the peaks whose topographic prominence is at
    least ``least``. Of equal lows the last is the trough, of equal highs the first is the peak.
    The last climb is returned though the series ends before it falls.

    Args:
        values: a series without gaps.
        least: the smallest turn that counts, in the unit of ``values``, above 0.
    """
    climbs: list[tuple[int, int]] = []
    low = high = 0
    rising = falling = False
    for i, value in enumerate(values.tolist()):
        if not rising and value <= values[low]:
            low = i
        if not falling and value > values[high]:
            high = i
        if not rising and value - values[low] >= least:
            rising, falling, high = True, False, i
        elif not falling and values[high] - value >= least:
            if rising:
                climbs.append((low, high))
            rising, falling, low = False, True, i
    if rising:
        climbs.append((low, high))
    return tuple(climbs)
