"""Days whose readings are the very ones of an earlier day of the client: copied, not measured."""

from __future__ import annotations

import numpy as np
import pandas as pd

from miner.core.results import Severity
from miner.records.client import Client, Settings
from miner.records.findings import Findings
from miner.records.same_readings import MINUTES, day_prints
from miner.records.text_columns import blank

COPIED = "copied_day"


def clock_prints(client: Client) -> dict[str, str]:
    """Return a hash of the readings of each day, whatever its date, by ISO date."""
    glucose = client.streams["glucose"]
    found = client.derived("clock prints", None, lambda: day_prints(glucose, dated=False))
    return {str(np.datetime64(day, "D")): mark[:8] for day, mark in found.items()}


def copied_days(glucose: pd.DataFrame, _: Settings, findings: Findings) -> pd.DataFrame:
    """Leave out the readings of a day that is an earlier day over again under another date."""
    first: dict[str, int] = {}
    prints = day_prints(_perhaps_copied(glucose), dated=False)
    copies = [day for day, mark in prints.items() if first.setdefault(mark, day) != day]
    if not copies:
        return glucose
    dates = glucose["clock"].to_numpy().astype("datetime64[D]").astype(np.int64)
    copied = np.isin(dates, copies)
    told = [str(np.datetime64(day, "D")) for day in copies]
    findings.rows(
        Severity.LEFT_OUT,
        "copied_days",
        at=glucose[copied],
        stream="glucose",
        column="glucose",
        values={"copied": len(copies), "first": told[0], "last": told[-1]},
    )
    free = copied & blank(glucose["left_out"])
    return glucose.assign(left_out=glucose["left_out"].mask(free, COPIED))


def _perhaps_copied(glucose: pd.DataFrame) -> pd.DataFrame:
    """Return the readings of days whose sums over values by time of day another day has too.

    Sums of whole numbers are exact: copies have the same, and few other days do.
    """
    minute = glucose["clock"].to_numpy().astype("datetime64[m]").astype(np.int64)
    value = np.round(glucose["glucose"].to_numpy(np.float64))
    value[np.isnan(value)] = 0
    day = minute // MINUTES
    minute -= day * MINUTES
    minute += 1
    value *= minute
    day -= day.min(initial=0)
    sums = np.bincount(day, weights=value)
    _, at, times = np.unique(sums, return_inverse=True, return_counts=True)
    twice = (times[at] > 1) & (sums > 0)
    return glucose[twice[day]] if twice.any() else glucose.iloc[:0]
