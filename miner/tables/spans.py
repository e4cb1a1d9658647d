"""Spans of time with the rows behind them: how much of a window they cover."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.tables.clockwork import Times, seconds
from miner.tables.columns import Source, origins


@dataclass(frozen=True, slots=True)
class Spans:
    """Episodes in seconds, joined where they overlap so that no minute counts twice.

    Attributes:
        start, end: the joined spans, ascending and apart.
        row_start, row_end, reach: every episode by its start; ``reach`` is the latest end so far.
        origin: file and row of every episode.
    """

    start: Times
    end: Times
    row_start: Times
    row_end: Times
    reach: Times
    origin: tuple[Source, ...]

    @classmethod
    def of(cls, start: Times, end: Times, origin: list[Source]) -> Spans:
        """Return the spans of some episodes, in any order."""
        order = np.lexsort((end, start))
        start, end = start[order], end[order]
        reach = np.maximum.accumulate(end) if end.size else end
        fresh = np.ones(start.size, dtype=bool)
        fresh[1:] = start[1:] > reach[:-1]
        first = np.flatnonzero(fresh)
        last = np.append(first[1:], start.size)[: first.size] - 1
        rows = tuple(origin[place] for place in order)
        return cls(start[first], reach[last], start, end, reach, rows)

    def minutes(self, begin: int, finish: int) -> float:
        """Return how many minutes of a window are covered."""
        low = np.searchsorted(self.end, begin, side="right")
        high = np.searchsorted(self.start, finish, side="left")
        if high <= low or finish <= begin:
            return 0.0
        start = np.maximum(self.start[low:high], begin)
        return float((np.minimum(self.end[low:high], finish) - start).sum() / 60)

    def touch(self, begin: int, finish: int) -> bool:
        """Whether any episode overlaps a window."""
        return bool(self._places(begin, finish).size)

    def rows(self, begin: int, finish: int) -> tuple[Source, ...]:
        """Return the file and row of the episodes that overlap a window."""
        return tuple(self.origin[place] for place in self._places(begin, finish))

    def _places(self, begin: int, finish: int) -> NDArray[np.intp]:
        low = int(np.searchsorted(self.reach, begin, side="right"))
        high = int(np.searchsorted(self.row_start, finish, side="left"))
        return np.flatnonzero(self.row_end[low:high] > begin) + low


def spans_of(frame: pd.DataFrame) -> Spans:
    """Return the episodes of a stream that has a start and an end."""
    return Spans.of(seconds(frame["start"]), seconds(frame["end"]), origins(frame))


NOTHING = Spans.of(np.zeros(0, np.int64), np.zeros(0, np.int64), [])
