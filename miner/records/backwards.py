"""Records that end before they begin in most rows: which other reading of the columns would do."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.results import Severity
from miner.records.findings import Findings
from miner.records.stream_file import BACKWARDS

FEWEST, MOST = 3, 0.5
DAY_MIN = 1440.0
LENGTHS = {"sleep": (120.0, 960.0)}
"""Lengths in minutes that a record of a stream usually has."""

USUAL = (1.0, 360.0)
SWAP, NEXT_DAY = "swap", "next_day"
_INSTEAD = {SWAP: "records.columns_swapped", NEXT_DAY: "records.end_without_date", "": ""}


def ask_about_order(name: str, frame: pd.DataFrame, findings: Findings) -> None:
    """Ask about a stream with an end before the start in most rows of a file.

    Args:
        name: the stream.
        frame: its rows, those left out among them.
        findings: gets one question a file.
    """
    if "end" not in frame.columns or not (frame["left_out"] == BACKWARDS).any():
        return
    for file, rows in frame.groupby("file", sort=True):
        backwards = rows[rows["left_out"] == BACKWARDS]
        if len(backwards) < max(FEWEST, MOST * len(rows)):
            continue
        start, end = (backwards[each].to_numpy() for each in ("start", "end"))
        other = other_order((start - end) / np.timedelta64(1, "m"), name)
        days = backwards["start_clock"].dt.strftime("%Y-%m-%d")
        findings.add(
            Severity.QUESTION,
            "ends_before_begins",
            file=str(file),
            row=int(backwards["row"].min()),
            count=len(backwards),
            stream=name,
            column="end",
            days=tuple(sorted(set(days))),
            values={"proposal": other, "rows": len(rows)},
            instead=_INSTEAD[other],
        )


def other_order(minutes: NDArray[np.float64], stream: str) -> str:
    """Return what would make records plausible that end before they begin.

    Args:
        minutes: from the end to the start of each, so above 0.
        stream: whose usual lengths are looked for.

    Returns:
        "swap" where most are of a usual length the other way round, "next_day" where they are
        with the end a day later, an empty text where neither holds of more than the other.
    """
    low, high = LENGTHS.get(stream, USUAL)
    swapped = float(((minutes >= low) & (minutes <= high)).mean())
    later = float(((DAY_MIN - minutes >= low) & (DAY_MIN - minutes <= high)).mean())
    if max(swapped, later) < MOST or swapped == later:
        return ""
    return SWAP if swapped > later else NEXT_DAY
