"""Published ranges and measures of readings, for description only; nothing is ranked by them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import inf, isfinite, nan
from typing import TYPE_CHECKING

import numpy as np

from miner.core.messages import message
from miner.tables.columns import Floats, Mask
from miner.tables.glucose.trace import Windows, trace_of, weighted_mean, weighted_sd

if TYPE_CHECKING:
    from miner.core.results.briefing import Measure
    from miner.records.client import Client
    from miner.tables.unit_table import UnitTable

SPREAD = {"mean": "mg/dL", "sd": "mg/dL", "cv": "share"}


def published(window: Windows) -> dict[str, Floats]:
    """Return the share of measured time in each published range, and mean, SD, CV, of each window.

    Limits belong to the range inside them: 70 and 140 are in 70-140, 180 is in 70-180, 54 is not
    below 54. LO and HI count in the shares, not in mean, SD (mg/dL) and CV (a share of the mean).

    Source: Battelino et al. 2019, Diabetes Care 42:1593 (54, 70, 180; CV); Shah et al. 2019,
    J Clin Endocrinol Metab 104:4356 (70-140).
    """
    trace = window.trace

    def part(beyond: Mask) -> Floats:
        return window.share(np.where(beyond, trace.minutes, 0.0), trace.minutes)

    def spread(of: Callable[[Floats, Floats], float]) -> Floats:
        return window.each(lambda places: of(trace.value[places], trace.minutes[places]))

    low, high, tight = part(trace.below(70)), part(trace.above(180)), part(trace.above(140))
    mean, sd = spread(weighted_mean), spread(weighted_sd)
    return {
        "readings": (window.high - window.low).astype(np.float64),
        "in_70_140": 1 - low - tight,
        "in_70_180": 1 - low - high,
        "above_140": tight,
        "above_180": high,
        "below_70": low,
        "below_54": part(trace.below(54)),
        "mean": mean,
        "sd": sd,
        "cv": sd / mean,
    }


NO_LIMITS: Mapping[str, float] = {}
_SHARES: tuple[tuple[str, str, Mapping[str, float]], ...] = (
    ("in_70_140", "between", {"low": 70.0, "high": 140.0}),
    ("in_70_180", "between", {"low": 70.0, "high": 180.0}),
    ("above_140", "above", {"low": 140.0}),
    ("above_180", "above", {"low": 180.0}),
    ("below_70", "below", {"high": 70.0}),
    ("below_54", "below", {"high": 54.0}),
)


def measures_of(client: Client, table: UnitTable, own: tuple[float, float]) -> tuple[Measure, ...]:
    """Return wear, mean, SD, CV, shares of time in published ranges, and the wake median.

    Args:
        client: as read; readings left out do not count.
        table: the client's day table.
        own: the client's range in mg/dL.

    Source: Battelino et al. 2019, Diabetes Care 42:1593; Shah et al. 2019, J Clin Endocrinol
    Metab 104:4356 (70-140).
    """
    trace = trace_of(client)
    seen = trace.value[~np.isnan(trace.value)]
    whole = Windows.over(trace, trace.at[:1], trace.at[-1:] + 1)
    found = {
        name: float(column[0]) if column.size else nan for name, column in published(whole).items()
    }
    span = float(trace.at[-1] - trace.at[0]) / 60 if trace.at.size > 1 else 0.0
    worn = float(trace.minutes[:-1].sum()) / span if span else nan
    rows = [_measure("worn", worn, "share")]
    rows += [_measure(name, found[name], unit) for name, unit in SPREAD.items()]
    for name, kind, limits in _SHARES:
        rows.append(_measure(kind, found[name], "share", "of_measured_time", limits=limits))
    if "wake_glucose" in table.outcomes:
        wake = table.frame["wake_glucose"].dropna()
        rows.append(_measure("wake_median", wake.median(), "mg/dL", n=wake.size))
    for name, value in (("lowest", seen.min(initial=inf)), ("highest", seen.max(initial=-inf))):
        rows.append(_measure(name, value, "mg/dL", "as_shown"))
    if own not in ((70.0, 140.0), (70.0, 180.0)) and trace.at.size:
        inside = (trace.ordered >= own[0]) & (trace.ordered <= own[1])
        share = float(trace.minutes[inside].sum() / trace.minutes.sum())
        limits = {"low": own[0], "high": own[1]}
        rows.append(_measure("between", share, "share", "range_set", limits=limits))
    return tuple(rows)


def _measure(
    kind: str,
    value: float,
    unit: str,
    definition: str | None = None,
    *,
    limits: Mapping[str, float] = NO_LIMITS,
    n: int = 0,
) -> Measure:
    """Return a measure by the codes of its name and its definition."""
    from miner.core.results.briefing import Measure

    return Measure(
        name=message(f"tables.measure_{kind}", **limits),
        definition=message(f"tables.measure_{definition or f'{kind}_is'}", n=n),
        value=float(value) if isfinite(value) else None,
        unit=unit,
    )
