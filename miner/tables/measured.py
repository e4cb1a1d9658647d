"""Descriptive measures of a whole record, with their definitions; nothing is ranked by them."""

from __future__ import annotations

from math import isfinite

import numpy as np

from miner.core.errors import several
from miner.core.results.briefing import Measure
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.tables.columns import whole_words, words
from miner.tables.published import published
from miner.tables.tag_days import names_any
from miner.tables.trace import trace_of
from miner.tables.unit_table import UnitTable

_SHARES = (
    ("in_70_140", "Time from 70 to 140 mg/dL"),
    ("in_70_180", "Time from 70 to 180 mg/dL"),
    ("above_140", "Time above 140 mg/dL"),
    ("above_180", "Time above 180 mg/dL"),
    ("below_70", "Time below 70 mg/dL"),
    ("below_54", "Time below 54 mg/dL"),
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
    measured = "Share of measured time; the limits belong to the range."
    rows = [
        ("Worn", "Measured time, of the time from the first to the last reading.", worn, "share"),
        ("Mean", "Mean of the readings, by the time each stands for.", found["mean"], "mg/dL"),
        ("SD", "Standard deviation of the readings.", found["sd"], "mg/dL"),
        ("CV", "Standard deviation over mean.", found["cv"], "share"),
        *((label, measured, found[name], "share") for name, label in _SHARES),
        *_wake(table),
        *_ends(trace.value),
    ]
    if own not in ((70.0, 140.0), (70.0, 180.0)) and trace.at.size:
        inside = (trace.ordered >= own[0]) & (trace.ordered <= own[1])
        share = float(trace.minutes[inside].sum() / trace.minutes.sum())
        rows.append((f"Time from {own[0]:g} to {own[1]:g} mg/dL", "The range set.", share, "share"))
    return tuple(
        Measure(name, definition, value if isfinite(value) else None, unit)
        for name, definition, value, unit in rows
    )


def _wake(table: UnitTable) -> list[tuple[str, str, float, str]]:
    if "wake_glucose" not in table.outcomes:
        return []
    wake = table.frame["wake_glucose"].dropna().to_numpy(np.float64)
    median = float(np.median(wake)) if wake.size else float("nan")
    definition = (
        f"Median of {several(wake.size, 'morning')}; each the median of the hour before waking."
    )
    return [("Wake median", definition, median, "mg/dL")]


def _ends(value: np.ndarray[tuple[int], np.dtype[np.float64]]) -> list[tuple[str, str, float, str]]:
    seen = value[~np.isnan(value)]
    low, high = (float(seen.min()), float(seen.max())) if seen.size else (np.nan, np.nan)
    return [
        ("Lowest reading", "As the sensor showed it.", low, "mg/dL"),
        ("Highest reading", "As the sensor showed it.", high, "mg/dL"),
    ]


def medicine_tags(client: Client, rules: RuleBook) -> tuple[str, ...]:
    """Return the tags that name a medicine, by name."""
    pattern = whole_words(rules.cautions.medicine_words)
    tags = set(words(client.used("tags")["tag"]))
    return tuple(sorted(tag for tag in tags if names_any(pattern, tag, client)))
