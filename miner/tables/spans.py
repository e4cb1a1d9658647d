"""Spans of time with the rows behind them: how much of a window they cover."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from miner.tables.clockwork import Floats, Times
from miner.tables.columns import Source


@dataclass(frozen=True, slots=True)
class Spans:
    """Episodes in seconds; where they overlap no minute counts as more than one.

    Attributes:
        edge: instants at which anything begins or ends, ascending.
        total: seconds recorded up to each edge.
        row_start, row_end, reach: every episode by its start; ``reach`` is the latest end so far.
        origin: file and row of every episode.
    """

    edge: list[int]
    total: list[float]
    row_start: list[int]
    row_end: list[int]
    reach: list[int]
    origin: tuple[Source, ...]

    @classmethod
    def of(
        cls, start: Times, end: Times, origin: list[Source], minutes: Floats | None = None
    ) -> Spans:
        """Return the spans of some episodes, in any order.

        Args:
            start: instants, seconds.
            end: instants, none before its start.
            origin: file and row of each.
            minutes: how much of each counts, spread evenly from start to end; NaN, and by
                default, the whole of it.
        """
        order = np.lexsort((end, start))
        start, end = start[order], end[order]
        share = None if minutes is None else _share(minutes[order], end - start)
        edge, total = _recorded(start, end, share)
        reach = np.maximum.accumulate(end) if end.size else end
        rows = tuple(origin[place] for place in order.tolist())
        return cls(edge, total, start.tolist(), end.tolist(), reach.tolist(), rows)

    def minutes(self, begin: int, finish: int) -> float:
        """Return how many minutes of a window are recorded."""
        if finish <= begin or not self.edge:
            return 0.0
        # two long sums are subtracted: without this ten minutes may be a hair under ten
        return round((self._until(finish) - self._until(begin)) / 60, 9)

    def _until(self, at: int) -> float:
        after = bisect_right(self.edge, at)
        if after in (0, len(self.edge)):
            return self.total[0] if after == 0 else self.total[-1]
        low, high = self.edge[after - 1], self.edge[after]
        more = self.total[after] - self.total[after - 1]
        return self.total[after - 1] + more * (at - low) / (high - low)

    def touch(self, begin: int, finish: int) -> bool:
        """Whether any episode overlaps a window."""
        low, high = self._near(begin, finish)
        return low < high and max(self.row_end[low:high]) > begin

    def rows(self, begin: int, finish: int) -> tuple[Source, ...]:
        """Return the file and row of the episodes that overlap a window."""
        low, high = self._near(begin, finish)
        if low >= high:
            return ()
        ends = self.row_end
        return tuple(self.origin[place] for place in range(low, high) if ends[place] > begin)

    def _near(self, begin: int, finish: int) -> tuple[int, int]:
        return bisect_right(self.reach, begin), bisect_left(self.row_start, finish)


def _share(minutes: Floats, length: Times) -> Floats:
    """Return which share of each episode counts: at most the whole, and that where not told."""
    whole = np.isnan(minutes) | (minutes * 60 >= length)
    return np.where(whole, 1.0, minutes * 60 / np.maximum(length, 1))


def _recorded(start: Times, end: Times, share: Floats | None) -> tuple[list[int], list[float]]:
    """Return the edges of some episodes, and the seconds recorded up to each."""
    if not start.size:
        return [], []
    edge = np.unique(np.concatenate([start, end]))
    first, last = np.searchsorted(edge, start), np.searchsorted(edge, end)
    rate = _running(first, last, edge.size, None)
    if share is not None:
        part = share < 1
        whole = _running(first[~part], last[~part], edge.size, None)
        rate = whole + _running(first[part], last[part], edge.size, share[part])
    step = np.diff(edge) * np.minimum(rate[:-1], 1.0)
    return edge.tolist(), np.concatenate([[0.0], np.cumsum(step)]).tolist()


def _running(
    first: NDArray[np.intp], last: NDArray[np.intp], size: int, share: Floats | None
) -> Floats:
    """Return the sum of the shares that run from each edge on."""
    begun = np.bincount(first, weights=share, minlength=size)
    ended = np.bincount(last, weights=share, minlength=size)
    return np.cumsum(begun - ended)


NOTHING = Spans.of(np.zeros(0, np.int64), np.zeros(0, np.int64), [])
