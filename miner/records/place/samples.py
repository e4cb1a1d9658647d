"""A level sampled again and again: the episodes in which it was high, and when it was measured."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from miner.core.messages import Severity
from miner.records.columns import COLUMNS, STILL
from miner.records.place.gaps import join, modal_gap
from miner.records.place.times import to_clock
from miner.records.read.cells import levels_of
from miner.records.text_columns import repeated

if TYPE_CHECKING:
    from miner.records.findings import Findings
    from miner.records.place.placing import PlacedRows
    from miner.records.read.sources import Episodes, Source

INTERVAL = ["start", "end", "start_clock", "end_clock"]
_LONGEST_BLOCK = pd.Timedelta(minutes=60)
_FEWEST_BLOCKS = 24
_SHARE_OF_BLOCKS = 0.5


def sampled(
    placed: PlacedRows, source: Source, zone: str | None, findings: Findings
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Make episodes of a level that was sampled, or is in rows with a start and an end.

    A sample counts for the time until the next one, at most the modal gap. What was not measured
    (blank, a not_measured word, below 0) is neither high nor low. It ends an episode unless the
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
    """Return when a tracker was on, by the rows of one file of activity; None where nothing says.

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
