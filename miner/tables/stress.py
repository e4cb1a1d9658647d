"""Stress: which rows of the stream count, and from which level on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from miner.records.client import Client
from miner.tables.clockwork import DAY, HOUR, Floats, seconds
from miner.tables.columns import numbers, origins
from miner.tables.limits import Mask
from miner.tables.spans import Spans

LEVELS_FROM = 8 * HOUR
"""Rows that last so long a day, on average, are levels of the whole day, not episodes."""

HIGHEST_SHARE = 0.25


@dataclass(frozen=True, slots=True)
class Stress:
    """The stress stream, sorted by what it says.

    Attributes:
        high: the episodes that count.
        doubtful: rows without a level in a stream that has levels: stress or not.
        counts_from: the level from which a row counts; None where every row does.
        levels: whether any level is read.
    """

    high: Spans
    doubtful: Spans
    counts_from: float | None
    levels: bool


def stress_of(client: Client) -> Stress:
    """Sort the stress rows of a client.

    Episodes made of a sampled level all count, and so does every row of a stream without levels.
    In any other stream a row without a level is unknown. Where the rows last eight hours or more a
    day, on average of the days that have any, they are levels of all the day: then those of the
    highest levels count that make up at most a quarter of the rows, at least those of the highest.
    """
    frame = client.used("stress")
    start, end, level = seconds(frame["start"]), seconds(frame["end"]), numbers(frame["level"])
    known = ~np.isnan(level)
    own = bool(known.any()) and "stress" not in client.worn
    counts = known if own else np.ones(len(frame), dtype=bool)
    rows = origins(frame)

    def spans(mask: Mask) -> Spans:
        return Spans.of(start[mask], end[mask], [rows[k] for k in np.flatnonzero(mask)])

    at = None
    if own:
        days = np.unique(seconds(frame["start_clock"])[known] // DAY).size
        if (end - start)[known].sum() >= LEVELS_FROM * days and np.ptp(level[known]) > 0:
            at = highest_quarter(level[known])
            counts = known & (level >= at)
    return Stress(spans(counts), spans(~known & own), at, bool(known.any()))


def highest_quarter(level: Floats) -> float:
    """Return the lowest level that at most a quarter of the rows reach; else the highest."""
    values, counts = np.unique(level, return_counts=True)
    reach = np.cumsum(counts[::-1])[::-1]
    few = values[reach <= HIGHEST_SHARE * level.size]
    return float(few[0] if few.size else values[-1])
