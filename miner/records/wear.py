"""When the tracker was worn: never a zero where nothing was measured."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

import numpy as np
import pandas as pd

from miner.core.results import Severity
from miner.records.columns import STILL
from miner.records.findings import Findings
from miner.records.samples import INTERVAL, join
from miner.records.stream_file import Part


def tracker_worn(
    activity: pd.DataFrame, parts: list[Part], findings: Findings
) -> tuple[pd.DataFrame, Mapping[str, pd.DataFrame]]:
    """Return the activity stream and, for every sampled stream, when it was measured.

    A day whose step blocks are all zero, without a valid sample of another stream or a row that
    says "still", is a day on which the tracker was not worn: its blocks are left out and do not
    count as worn. Where a file
    says itself when a stream was measured, nothing is derived from the records beside it.
    """
    written = {part.stream for part in parts if part.worn_as_written}
    pieces: dict[str, list[pd.DataFrame]] = defaultdict(list)
    for part in parts:
        if part.worn is not None and part.worn_as_written == (part.stream in written):
            pieces[part.stream].append(part.worn)
    worn = {name: _united(frames) for name, frames in pieces.items()}
    if "activity" not in worn or activity.empty:
        return activity, worn
    day = activity["start_clock"].dt.normalize()
    moved = activity["steps"].fillna(0) + activity["active_min"].fillna(0)
    still = moved.mask(activity["kind"] == STILL, 1).groupby(day).sum() == 0
    counted = activity["steps"].notna().groupby(day).any()
    others = [frame for name, frame in worn.items() if name != "activity"]
    alive = pd.concat([frame["start_clock"].dt.normalize() for frame in others] or [day.iloc[:0]])
    off = pd.DatetimeIndex(still.index[still & counted & ~still.index.isin(alive)])
    if len(off) == 0:
        return activity, worn
    on_off_day = day.isin(off).to_numpy()
    findings.rows(
        Severity.LEFT_OUT,
        "days_without_a_step",
        at=activity[on_off_day],
        shown=day[on_off_day].dt.strftime("%Y-%m-%d"),
    )
    left_out = activity["left_out"].mask(on_off_day, "tracker_not_worn")
    worn["activity"] = _without_days(worn["activity"], off)
    return activity.assign(left_out=left_out), worn


def _united(frames: list[pd.DataFrame]) -> pd.DataFrame:
    frame = pd.concat(frames, ignore_index=True).sort_values("start", kind="stable")
    run = join(frame["start"].to_numpy(), frame["end"].to_numpy(), np.timedelta64(0, "s"))
    ends = {name: "max" if name.startswith("end") else "min" for name in INTERVAL}
    return frame.groupby(run).agg(ends).reset_index(drop=True)[INTERVAL]


def _without_days(frame: pd.DataFrame, days: pd.DatetimeIndex) -> pd.DataFrame:
    nothing = pd.Timedelta(0)
    for day in days:
        before, later = frame.copy(), frame.copy()
        over = before["end_clock"] - day
        cut = over.where(over > nothing, nothing)
        before["end"], before["end_clock"] = before["end"] - cut, before["end_clock"] - cut
        early = day + pd.Timedelta(days=1) - later["start_clock"]
        add = early.where(early > nothing, nothing)
        later["start"], later["start_clock"] = later["start"] + add, later["start_clock"] + add
        both = pd.concat([before, later], ignore_index=True)
        both = both[both["start_clock"] < both["end_clock"]]
        frame = both.sort_values("start", kind="stable").drop_duplicates().reset_index(drop=True)
    return frame
