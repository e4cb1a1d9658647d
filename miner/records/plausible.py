"""Dates that cannot belong to these records: before 2000, or far from nearly all the others."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil
from typing import TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.results import Severity
from miner.records.findings import Findings
from miner.records.iso8601 import Stamps

Span: TypeAlias = tuple[np.datetime64, np.datetime64]
_FIRST = np.datetime64("2000-01-01")
_EARLIEST = int(_FIRST.astype(np.int64))
_DAY_NS = 86_400 * 10**9
_APART, _FAR = np.timedelta64(400, "D"), np.timedelta64(180, "D")
_FEW_READINGS, _FEW_RECORDS = 0.01, 1 / 3


def without_impossible_dates(
    frames: Mapping[str, pd.DataFrame], findings: Findings
) -> dict[str, pd.DataFrame]:
    """Take out rows that by their date cannot belong to the readings.

    Those more than 400 days from the middle eight tenths of the readings; and a few (of a stream a
    third, of readings one in a hundred) more than 180 days from all but the first and the last
    fiftieth of these, as a year typed wrongly does. More rows of another year are asked about
    elsewhere (``cross_checks``).

    Args:
        frames: the streams by name, with ``clock`` or ``start_clock``.
        findings: gets what was taken out.
    """
    days = _days(frames["glucose"]["clock"].to_numpy())
    usual, nearly_all = _middle(days, 0.1), _middle(days, 0.02)
    wide = (usual[0] - _APART, usual[1] + _APART)
    near = (nearly_all[0] - _FAR, nearly_all[1] + _FAR)
    found = {}
    for name, frame in frames.items():
        times = frame["clock" if "clock" in frame.columns else "start_clock"].to_numpy()
        if not times.size or (_all_within(times, near) and _all_within(times, wide)):
            found[name] = frame
            continue
        odd, far = (times < _FIRST) | _outside(times, wide), _outside(times, near)
        few = _FEW_READINGS if name == "glucose" else _FEW_RECORDS
        if far.mean() <= few:
            odd |= far
        found[name] = _without(frame, times, odd, usual, findings)
    return found


def _all_within(times: Stamps, span: Span) -> bool:
    return bool(times.min() >= max(span[0], _FIRST) and times.max() <= span[1])


def _outside(times: Stamps, span: Span) -> NDArray[np.bool_]:
    return (times < span[0]) | (times > span[1])


def _without(
    frame: pd.DataFrame, times: Stamps, odd: NDArray[np.bool_], usual: Span, findings: Findings
) -> pd.DataFrame:
    if not odd.any():
        return frame
    findings.rows(
        Severity.LEFT_OUT,
        "date_that_cannot_be",
        at=frame[odd],
        shown=np.datetime_as_string(times[odd], unit="m"),
        values={"first": usual[0], "last": usual[1]},
    )
    return frame[~odd].reset_index(drop=True)


def _days(times: Stamps) -> NDArray[np.int64]:
    """Return how many times lie on the days from 2000 on, up to each day."""
    late = times if times.size and times.min() >= _FIRST else times[times >= _FIRST]
    days = late.astype("datetime64[ns]").view(np.int64) // _DAY_NS
    return np.cumsum(np.bincount(days - _EARLIEST)) if days.size else np.zeros(0, np.int64)


def _middle(counts: NDArray[np.int64], aside: float) -> Span:
    """Return from which day to the end of which day all but a share at either end lies."""
    if not counts.size:
        return _FIRST + _APART, np.datetime64("2261-01-01")
    low, high = (_share_below(counts, share) + _EARLIEST for share in (aside, 1 - aside))
    return _day(low), _day(high) + np.timedelta64(1, "D")


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
