"""Published ranges and measures of readings, for description only; nothing is ranked by them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import isfinite

import numpy as np
import pandas as pd

from miner.core.messages import message
from miner.core.results.briefing import Measure
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.tables.columns import Floats, whole_words, words
from miner.tables.glucose.outcomes import Windows, share, sums, weighted_mean, weighted_sd
from miner.tables.glucose.trace import Mask, Trace, above, below, trace_of
from miner.tables.tag_days import names_any
from miner.tables.unit_table import UnitTable

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
    found = published(trace.ordered, trace.value, trace.minutes, trace.tenths)
    span = float(trace.at[-1] - trace.at[0]) / 60 if trace.at.size > 1 else 0.0
    worn = float(trace.minutes[:-1].sum()) / span if span else float("nan")
    shares = [
        _measure(kind, found[name], "share", "of_measured_time", limits=limits)
        for name, kind, limits in _SHARES
    ]
    rows = [
        _measure("worn", worn, "share"),
        _measure("mean", found["mean"], "mg/dL"),
        _measure("sd", found["sd"], "mg/dL"),
        _measure("cv", found["cv"], "share"),
        *shares,
        *_wake(table),
        *_ends(trace.value),
    ]
    if own not in ((70.0, 140.0), (70.0, 180.0)) and trace.at.size:
        inside = (trace.ordered >= own[0]) & (trace.ordered <= own[1])
        share = float(trace.minutes[inside].sum() / trace.minutes.sum())
        rows.append(
            _measure("between", share, "share", "range_set", limits={"low": own[0], "high": own[1]})
        )
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
    return Measure(
        name=message(f"tables.measure_{kind}", **limits),
        definition=message(f"tables.measure_{definition or f'{kind}_is'}", n=n),
        value=value if isfinite(value) else None,
        unit=unit,
    )


def _wake(table: UnitTable) -> list[Measure]:
    if "wake_glucose" not in table.outcomes:
        return []
    wake = table.frame["wake_glucose"].dropna().to_numpy(np.float64)
    median = float(np.median(wake)) if wake.size else float("nan")
    return [_measure("wake_median", median, "mg/dL", n=wake.size)]


def _ends(value: np.ndarray[tuple[int], np.dtype[np.float64]]) -> list[Measure]:
    seen = value[~np.isnan(value)]
    low, high = (float(seen.min()), float(seen.max())) if seen.size else (np.nan, np.nan)
    return [
        _measure("lowest", low, "mg/dL", "as_shown"),
        _measure("highest", high, "mg/dL", "as_shown"),
    ]


def medicine_tags(client: Client, rules: RuleBook) -> tuple[str, ...]:
    """Return the tags that name a medicine, by name."""
    pattern = whole_words(rules.cautions.medicine_words)
    tags = set(words(client.used("tags")["tag"]))
    return tuple(sorted(tag for tag in tags if names_any(pattern, tag, client)))
