"""How far apart times usually are, and which intervals belong together."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from miner.records.place.times import Stamps

_LONGEST_GAP_S = 86_400


def modal_gap(times: Stamps) -> np.timedelta64 | None:
    """Return the most frequent gap between distinct times of a day or less, or None without."""
    known = times[~np.isnat(times)].astype("datetime64[s]").astype(np.int64)
    gaps = np.diff(np.sort(known))
    counts = np.bincount(gaps[(gaps > 0) & (gaps <= _LONGEST_GAP_S)])
    return np.timedelta64(int(np.argmax(counts)), "s") if counts.size else None


def join(start: Stamps, end: Stamps, gap: np.timedelta64) -> NDArray[np.int64]:
    """Number the runs of intervals that are no further apart than a gap.

    Args:
        start: starts in time order.
        end: ends, none before its start.
        gap: the widest gap inside one run.
    """
    if len(start) == 0:
        return np.zeros(0, dtype=np.int64)
    reach = np.maximum.accumulate(end)
    apart = start[1:] - reach[:-1] > gap
    return np.concatenate([[0], np.cumsum(apart)]).astype(np.int64)
