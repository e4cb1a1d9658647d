"""Clocks that cannot be right by themselves: no afternoon, or another offset than the readings'."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from miner.core.results import Severity
from miner.records.findings import Findings
from miner.records.text_columns import used_rows

MORNINGS = (1, 12)
FEWEST_ROWS = 15
ALL_DAY = ("glucose", "stress", "activity", "meals")
"""Streams in which something begins after noon within two weeks."""

GLANCE = 1000
"""Rows that are looked at first: among so many most streams have an afternoon."""

FEWEST_DATES, MOST_DATES = 3, 0.5
DAY_MIN = 1440
WIDE = 1 << 20
"""More minutes than an offset can have, on both sides of 0."""


def odd_clocks(streams: Mapping[str, pd.DataFrame], findings: Findings) -> None:
    """Ask about streams without a time in the afternoon, and about offsets that differ.

    Args:
        streams: as read, with instants and wall-clock times.
        findings: gets one question a stream and kind.
    """
    for name in ALL_DAY:
        if _mornings(used_rows(streams[name].head(GLANCE))):
            _half_a_clock(name, used_rows(streams[name]), findings)
    others = {name: used_rows(frame) for name, frame in streams.items() if name != "glucose"}
    if all(frame.empty for frame in others.values()):
        return
    glucose = _offsets(used_rows(streams["glucose"]))
    for name, frame in others.items():
        _another_offset(name, frame, glucose, findings)


def _clock(frame: pd.DataFrame) -> pd.Series:
    return frame["clock" if "clock" in frame.columns else "start_clock"]


def _mornings(frame: pd.DataFrame) -> bool:
    hour = _clock(frame).to_numpy("datetime64[h]").astype(np.int64) % 24
    return bool(((hour >= MORNINGS[0]) & (hour <= MORNINGS[1])).all())


def _half_a_clock(name: str, frame: pd.DataFrame, findings: Findings) -> None:
    if len(frame) < FEWEST_ROWS or not _mornings(frame):
        return
    findings.add(
        Severity.QUESTION,
        "half_a_clock",
        file=str(frame["file"].iloc[0]),
        row=int(frame["row"].iloc[0]),
        count=len(frame),
        stream=name,
    )


def _offsets(frame: pd.DataFrame) -> dict[int, int]:
    """Return the commonest offset of each date, in minutes (of equals the smallest)."""
    clock = _clock(frame).to_numpy("datetime64[m]").astype(np.int64)
    instant = frame["time" if "time" in frame.columns else "start"].to_numpy("datetime64[m]")
    keys, counts = np.unique(
        clock // DAY_MIN * WIDE + (clock - instant.astype(np.int64) + WIDE // 2),
        return_counts=True,
    )
    dates, offsets = keys // WIDE, keys % WIDE - WIDE // 2
    commonest_last = np.lexsort((-offsets, counts))
    return dict(zip(dates[commonest_last].tolist(), offsets[commonest_last].tolist(), strict=True))


def _another_offset(
    name: str, frame: pd.DataFrame, glucose: Mapping[int, int], findings: Findings
) -> None:
    own = _offsets(frame)
    both = [date for date in own if date in glucose]
    apart = np.array([own[date] - glucose[date] for date in both])
    if len(both) < FEWEST_DATES or (apart != 0).mean() < MOST_DATES:
        return
    hours = float(np.median(apart[apart != 0])) / 60
    findings.add(
        Severity.QUESTION,
        "offsets_apart",
        told_as=f"offsets_apart_{'ahead' if hours > 0 else 'behind'}",
        file=str(frame["file"].iloc[0]),
        row=int(frame["row"].iloc[0]),
        count=int((apart != 0).sum()),
        stream=name,
        values={"hours": hours, "apart": abs(hours), "dates": len(both)},
    )
