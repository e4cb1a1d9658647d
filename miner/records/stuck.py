"""A sensor that shows one value for hours: left out and asked about."""

from __future__ import annotations

import numpy as np
import pandas as pd

from miner.core.results import Severity
from miner.records.client import Settings
from miner.records.findings import Findings
from miner.records.jumps import LONGEST_RATE_MIN, Used

STUCK_MIN, FEWEST_STUCK = 180.0, 9
MOST_ALIKE = 0.5
STUCK = "stuck"
_MINUTE = np.timedelta64(1, "m")


def stuck_values(frame: pd.DataFrame, _: Settings, findings: Findings) -> pd.DataFrame:
    """Leave out readings that stay the same for three hours, after the first of them.

    Of four people's records the longest such run was of 105 minutes, but for runs at the lowest and
    the highest value a sensor shows, which are no fault. Where more than half of all readings
    repeat the one before, rounding explains it and nothing is judged.
    """
    used = Used.of(frame)
    if used.place.size < FEWEST_STUCK:
        return frame
    same = used.value[1:] == used.value[:-1]
    others = np.flatnonzero(~same)
    if np.diff(others, prepend=-1, append=len(same)).max() < FEWEST_STUCK:
        return frame
    minutes = np.diff(used.time) / _MINUTE
    near = (minutes > 0) & (minutes <= LONGEST_RATE_MIN)
    alike = near & same
    if not alike.any() or alike.sum() > MOST_ALIKE * near.sum():
        return frame
    ends = np.flatnonzero(np.diff(np.concatenate([[False], alike, [False]]).astype(np.int8)))
    first, last = ends[::2], ends[1::2]
    value = used.value[first]
    long = (used.time[last] - used.time[first]) / _MINUTE >= STUCK_MIN
    long &= last - first + 1 >= FEWEST_STUCK
    long &= (value > used.value.min()) & (value < used.value.max())
    stuck = np.zeros(len(frame), dtype=bool)
    for begin, end in zip(first[long], last[long], strict=True):
        stuck[used.place[begin + 1 : end + 1]] = True
    rows = frame[stuck]
    findings.rows(
        Severity.QUESTION,
        "stuck_value",
        at=rows,
        shown=[f"{value:.0f} mg/dL" for value in rows["glucose"]],
        stream="glucose",
    )
    return frame.assign(left_out=frame["left_out"].mask(stuck, STUCK)) if stuck.any() else frame
