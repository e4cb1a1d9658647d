"""Published ranges of a day's readings, for description only; nothing is ranked by them."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd

from miner.tables.clockwork import Floats
from miner.tables.glucose.outcomes import share, sums, weighted_mean, weighted_sd
from miner.tables.glucose.trace import Trace
from miner.tables.limits import Mask, above, below
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

    def part(beyond: Callable[[Floats, Mask, float], Mask], limit: float) -> float:
        return float(minutes[beyond(ordered, tenths, limit)].sum() / total)

    low, high, tight = part(below, 70), part(above, 180), part(above, 140)
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
        "below_54": part(below, 54),
        "mean": mean,
        "sd": sd,
        "cv": sd / mean,
    }


def published_by_day(trace: Trace, window: Windows, index: pd.Index) -> pd.DataFrame:
    """Return the published ranges of every day, each as ``published`` returns them."""
    low, high = window.low, window.high
    total = sums(trace.minutes, low, high)

    def part(beyond: Callable[[Floats, Mask, float], Mask], limit: float) -> Floats:
        outside = np.where(beyond(trace.ordered, trace.tenths, limit), trace.minutes, 0.0)
        return share(sums(outside, low, high), total)

    under, over, tight = part(below, 70), part(above, 180), part(above, 140)
    spread = np.array(
        [_mean_and_sd(trace, a, b) for a, b in zip(low.tolist(), high.tolist(), strict=True)]
    ).reshape(-1, 2)
    mean, sd = spread[:, 0], spread[:, 1]
    columns = (
        (high - low).astype(np.float64),
        1 - under - tight,
        1 - under - over,
        tight,
        over,
        under,
        part(below, 54),
        mean,
        sd,
        sd / mean,
    )
    return pd.DataFrame(dict(zip(COLUMNS, columns, strict=True)), index=index, dtype=float)


def _mean_and_sd(trace: Trace, low: int, high: int) -> tuple[float, float]:
    seen = ~np.isnan(trace.value[low:high])
    value, minutes = trace.value[low:high][seen], trace.minutes[low:high][seen]
    if not value.size:
        return np.nan, np.nan
    return weighted_mean(value, minutes), weighted_sd(value, minutes)
