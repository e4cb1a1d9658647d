"""Dates that cannot belong to these records: before 2000, or far from nearly all the others."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil
from typing import TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.records.findings import Findings
from miner.records.iso8601 import Stamps
from miner.results import Severity

Span: TypeAlias = tuple[np.datetime64, np.datetime64]
_FIRST = np.datetime64("2000-01-01")
_EARLIEST = int(_FIRST.astype(np.int64))
_DAY_NS = 86_400 * 10**9
_APART = np.timedelta64(400, "D")


def without_impossible_dates(
    frames: Mapping[str, pd.DataFrame], findings: Findings
) -> dict[str, pd.DataFrame]:
    """Take out rows more than 400 days from the middle eight tenths of the glucose readings.

    Args:
        frames: the streams by name, with ``clock`` or ``start_clock``.
        findings: gets what was taken out.
    """
    span = _usual_span(frames["glucose"]["clock"].to_numpy())
    return {name: _within(frame, span, findings) for name, frame in frames.items()}


def _within(frame: pd.DataFrame, span: Span, findings: Findings) -> pd.DataFrame:
    times = frame["clock" if "clock" in frame.columns else "start_clock"].to_numpy()
    odd = (times < _FIRST) | (times < span[0]) | (times > span[1])
    if not odd.any():
        return frame
    findings.rows(
        Severity.LEFT_OUT,
        "{n} row(s) with a date that cannot be",
        f"dates near those of the readings, {span[0] + _APART} to {span[1] - _APART}",
        "Correct the year.",
        at=frame[odd],
        shown=np.datetime_as_string(times[odd], unit="m"),
    )
    return frame[~odd].reset_index(drop=True)


def _usual_span(times: Stamps) -> Span:
    days = times[times >= _FIRST].astype("datetime64[ns]").view(np.int64) // _DAY_NS
    if days.size == 0:
        return _FIRST, np.datetime64("2262-01-01")
    counts = np.cumsum(np.bincount(days - _EARLIEST))
    low, high = (_share_below(counts, share) + _EARLIEST for share in (0.1, 0.9))
    return _day(low) - _APART, _day(high) + np.timedelta64(1, "D") + _APART


def _share_below(counts: NDArray[np.int64], share: float) -> float:
    """Return the quantile of small whole numbers, between two of them in proportion.

    Args:
        counts: how many are at most 0, 1, 2 and so on.
        share: of them, from 0 to 1.
    """
    place = share * (int(counts[-1]) - 1)
    lower, upper = np.searchsorted(counts, [int(place), ceil(place)], side="right")
    return float(lower + (place - int(place)) * (upper - lower))


def _day(number: float) -> np.datetime64:
    return np.datetime64(int(number), "D")
