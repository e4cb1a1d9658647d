"""A level sampled again and again: the episodes in which it was high, and when it was measured."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import Severity
from miner.records.columns import COLUMNS, STILL
from miner.records.place.times import to_clock
from miner.records.read.cells import levels_of
from miner.records.text_columns import repeated

if TYPE_CHECKING:
    from miner.records.findings import Findings
    from miner.records.place.placing import PlacedRows
    from miner.records.read.iso8601 import Stamps
    from miner.records.read.sources import Episodes, Source

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
    findings.cells(Severity.LEFT_OUT, "sample_not_a_number", placed.table, bad, rule.column)
    below, values = level < 0, {"column": rule.column}
    findings.cells(Severity.NOTE, "sample_below_zero", placed.table, below, values=values)
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
