"""Published ranges of a day's readings, for description only; nothing is ranked by them."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd

from miner.tables.clockwork import Floats
from miner.tables.limits import Mask, above, below
from miner.tables.outcomes_of_day import weighted_mean, weighted_sd
from miner.tables.trace import Trace
from miner.tables.windows import Windows

COLUMNS = (
    "readings",
    "in_70_140",
    "in_70_180",
    "above_140",
    "above_180",
    "below_70",
    "below_54",
    "mean",
    "sd",
    "cv",
)


def published(ordered: Floats, value: Floats, minutes: Floats, tenths: Mask) -> Mapping[str, float]:
    """Return the share of measured time in each published range, and mean, SD, CV.

    Limits belong to the range inside them: 70 and 140 are in 70-140, 180 is in 70-180, 54 is not
    below 54. LO and HI count in the shares, not in mean, SD (mg/dL) and CV (a share of the mean).

    Args:
        ordered: mg/dL with LO as minus and HI as plus infinity.
        value: the same with LO and HI as NaN.
        minutes: the time each reading stands for.
        tenths: whether it was shown in tenths of a mmol/L.

    Source: Battelino et al. 2019, Diabetes Care 42:1593 (54, 70, 180; CV); Shah et al. 2019,
    J Clin Endocrinol Metab 104:4356 (70-140).
    """
    total = minutes.sum()
    if total <= 0:
        return {name: (0.0 if name == "readings" else np.nan) for name in COLUMNS}

    def share(beyond: Callable[[Floats, Mask, float], Mask], limit: float) -> float:
        return float(minutes[beyond(ordered, tenths, limit)].sum() / total)

    low, high, tight = share(below, 70), share(above, 180), share(above, 140)
    seen = ~np.isnan(value)
    mean = weighted_mean(value[seen], minutes[seen]) if seen.any() else np.nan
    sd = weighted_sd(value[seen], minutes[seen])
    return {
        "readings": float(ordered.size),
        "in_70_140": 1 - low - tight,
        "in_70_180": 1 - low - high,
        "above_140": tight,
        "above_180": high,
        "below_70": low,
        "below_54": share(below, 54),
        "mean": mean,
        "sd": sd,
        "cv": sd / mean,
    }


def published_by_day(trace: Trace, window: Windows, index: pd.Index) -> pd.DataFrame:
    """Return the published ranges of every day."""
    rows = [
        published(
            trace.ordered[low:high],
            trace.value[low:high],
            trace.minutes[low:high],
            trace.tenths[low:high],
        )
        for low, high in zip(window.low, window.high, strict=True)
    ]
    return pd.DataFrame(rows, index=index, columns=list(COLUMNS), dtype=float)
