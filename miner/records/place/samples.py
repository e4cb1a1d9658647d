"""A level sampled again and again: the episodes in which it was high, and when it was measured.

When a tracker was worn is told by what it recorded.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.results.checking import Severity
from miner.records.columns import COLUMNS, STILL
from miner.records.place.times import to_clock
from miner.records.read.cells import levels_of, where_from
from miner.records.text_columns import repeated

if TYPE_CHECKING:
    from miner.records.findings import Findings
    from miner.records.place.iso8601 import Stamps
    from miner.records.place.placing import PlacedRows
    from miner.records.read.sources import Episodes, Source
    from miner.records.read.stream_file import Part

INTERVAL = ["start", "end", "start_clock", "end_clock"]
_LONGEST_BLOCK = pd.Timedelta(minutes=60)
_LONGEST_GAP_S = 86_400
_SECOND_NS = 1_000_000_000
_GLANCE = 500
_FEWEST_BLOCKS = 24
_SHARE_OF_BLOCKS = 0.5


def modal_gap(times: Stamps) -> np.timedelta64 | None:
    """Return the most frequent gap between distinct times of a day or less, or None without."""
    known = times.astype("datetime64[ns]")
    missing = np.isnat(known)
    if missing.any():
        known = known[~missing]
    exact = known.view(np.int64)
    gaps = np.diff(exact)
    in_order = not (gaps < 0).any()
    if in_order and (most := _in_most(gaps)):
        return np.timedelta64(most, "ns")
    seconds = np.diff(exact // _SECOND_NS if in_order else np.sort(exact // _SECOND_NS))
    counts = np.bincount(seconds[(seconds > 0) & (seconds <= _LONGEST_GAP_S)])
    if counts.size == 0:
        return None
    return np.timedelta64(int(np.argmax(counts)) * _SECOND_NS, "ns")


def _in_most(gaps: NDArray[np.int64]) -> int:
    """Return the gap of whole seconds that more than half of all are, or 0 where none is."""
    some, times = np.unique(gaps[:_GLANCE], return_counts=True)
    gap = int(some[np.argmax(times)]) if some.size else 0
    whole = gap % _SECOND_NS == 0 and gap <= _LONGEST_GAP_S * _SECOND_NS
    return gap if whole and 2 * np.count_nonzero(gaps == gap) > len(gaps) else 0


def join(start: Stamps, end: Stamps, gap: np.timedelta64) -> NDArray[np.int64]:
    """Number the runs of intervals that are no further apart than a gap.

    Args:
        start: starts in time order.
        end: ends, none before its start.
        gap: the widest gap inside one run.
    """
    if len(start) == 0:
        return np.zeros(0, dtype=np.int64)
    reach = np.maximum.accumulate(end)
    apart = start[1:] - reach[:-1] > gap
    return np.concatenate([[0], np.cumsum(apart)]).astype(np.int64)


def sampled(
    placed: PlacedRows, source: Source, zone: str | None, findings: Findings
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Make episodes of a level that was sampled, or stands in rows with a start and an end.

    A sample stands for the time until the next one, at most the modal gap. What was not measured
    (blank, a not_measured word, below 0) is neither high nor low: it ends an episode unless the
    gap is within join_gaps_min.

    Returns:
        The episodes with the stream's columns, and the intervals with valid samples.
    """
    rule = source.episodes
    if rule is None:
        raise ValueError(source.file)
    samples = _samples(placed, source, rule, findings)
    step = modal_gap(samples["start"].to_numpy())
    if step is None:
        step = np.timedelta64(0, "ns")
    if placed.end is None:
        following = samples["start"].shift(-1).to_numpy()
        until = samples["start"].to_numpy() + step
        samples["end"] = np.where(following < until, following, until)
        samples["end_clock"] = samples["start_clock"] + (samples["end"] - samples["start"])
        if zone is not None and not placed.own_offset:
            samples["end_clock"] = to_clock(samples["end"].to_numpy(), zone)
    worn = _runs(samples, step // 2)[INTERVAL]
    high = samples[samples["level"] >= rule.at_least].reset_index(drop=True)
    episodes = _runs(high, np.timedelta64(int(rule.join_gaps_min * 60), "s"))
    long = episodes["end"] - episodes["start"] >= pd.Timedelta(minutes=rule.for_min)
    return _as_stream(episodes[long].reset_index(drop=True), source, placed.table.file), worn


def _samples(
    placed: PlacedRows, source: Source, rule: Episodes, findings: Findings
) -> pd.DataFrame:
    level, bad = levels_of(placed.table, rule.column, source)
    findings.rows(
        Severity.LEFT_OUT,
        "sample_not_a_number",
        at=where_from(placed.table, bad),
        shown=placed.table.text(rule.column)[bad] if bad.any() else (),
        values={"column": rule.column},
    )
    below = level < 0
    findings.rows(
        Severity.NOTE,
        "sample_below_zero",
        at=where_from(placed.table, below),
        values={"column": rule.column},
    )
    frame = pd.DataFrame(
        {
            "start": placed.start,
            "start_clock": placed.start_clock,
            "level": np.where(bad | below, np.nan, level),
            "row": placed.table.rows,
        }
    )
    if placed.end is not None and placed.end_clock is not None:
        frame = frame.assign(end=placed.end, end_clock=placed.end_clock)
        frame = frame[frame["end"] > frame["start"]]
    frame = frame.dropna(subset=["level"])
    frame = frame.sort_values(["start", "level"], ascending=[True, False], kind="stable")
    return frame.drop_duplicates("start").reset_index(drop=True)


def _runs(frame: pd.DataFrame, gap: np.timedelta64) -> pd.DataFrame:
    run = join(frame["start"].to_numpy(), frame["end"].to_numpy(), gap)
    return (
        frame.groupby(run)
        .agg(
            start=("start", "first"),
            end=("end", "max"),
            start_clock=("start_clock", "first"),
            end_clock=("end_clock", "last"),
            level=("level", "mean"),
            row=("row", "min"),
        )
        .reset_index(drop=True)
    )


def _as_stream(episodes: pd.DataFrame, source: Source, file: str) -> pd.DataFrame:
    spec = COLUMNS[source.stream]
    frame = episodes[[*INTERVAL, "row"]].assign(file=file, left_out="", twin=np.uint64(0))
    for name in spec.numbers:
        frame[name] = episodes["level"] if name == "level" else np.nan
    for name in (*spec.texts, *spec.choices):
        frame[name] = repeated(source.constants.get(name, ""), len(frame))
    return frame


def rows_worn(frame: pd.DataFrame) -> pd.DataFrame | None:
    """Return when a tracker was on, by the rows of one file of activity; None where nothing tells.

    It was on during every row of a file that says when nobody moved, and during the blocks of one
    that counts steps or minutes of movement in blocks of one length, an hour at most.

    Args:
        frame: with start, end, start_clock, end_clock, kind, steps, active_min and left_out.
    """
    rows = frame[frame["left_out"] == ""]
    if not (rows["kind"] == STILL).any():
        rows = rows[rows["steps"].notna() | rows["active_min"].notna()]
        if not _in_blocks(rows["end"] - rows["start"]):
            return None
    rows = rows.sort_values("start", kind="stable").assign(level=0.0)
    return _runs(rows.reset_index(drop=True), np.timedelta64(0, "s"))[INTERVAL]


def _in_blocks(length: pd.Series[pd.Timedelta]) -> bool:
    if len(length) < _FEWEST_BLOCKS:
        return False
    usual = length.mode().iloc[0]
    short = pd.Timedelta(0) < usual <= _LONGEST_BLOCK
    return bool(short and (length == usual).mean() >= _SHARE_OF_BLOCKS)


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
