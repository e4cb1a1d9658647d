"""What a tracker recorded: movement, steps, stress, when it was worn, what has no end."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import Message, message
from miner.records.client import Client
from miner.records.columns import IN_DOUBT, NO_LEVEL, STILL
from miner.tables.columns import (
    DAY,
    HOUR,
    Floats,
    Mask,
    Source,
    Times,
    covered,
    numbers,
    origins,
    percent,
    seconds,
    words,
)


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
        cls,
        start: Times,
        end: Times,
        origin: list[Source] | None = None,
        minutes: Floats | None = None,
    ) -> Spans:
        """Return the spans of some episodes, in any order.

        Args:
            start: instants, seconds.
            end: instants, none before its start.
            origin: file and row of each, where they will be asked for.
            minutes: how much of each counts, spread evenly from start to end; NaN, and by
                default, the whole of it.
        """
        order = np.lexsort((end, start))
        start, end = start[order], end[order]
        told = np.full(start.size, np.nan) if minutes is None else minutes[order]
        whole = np.isnan(told) | (told * 60 >= end - start)
        share = np.where(whole, 1.0, told * 60 / np.maximum(end - start, 1))
        edge, total = _recorded(start, end, share)
        reach = np.maximum.accumulate(end) if end.size else end
        rows = () if origin is None else tuple(origin[place] for place in order.tolist())
        return cls(edge, total, start.tolist(), end.tolist(), reach.tolist(), rows)

    @classmethod
    def among(
        cls, frame: pd.DataFrame, mask: Mask, *, end: Times | None = None, told: bool = False
    ) -> Spans:
        """Return the spans of some rows of a stream.

        Args:
            frame: the stream.
            mask: which rows.
            end: instants that stand for the ends of the rows.
            told: of a row with active minutes only these count.
        """
        some = frame[mask]
        last = seconds(some["end"]) if end is None else end[mask]
        minutes = numbers(some["active_min"]) if told else None
        return cls.of(seconds(some["start"]), last, origins(some), minutes)

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


def _recorded(start: Times, end: Times, share: Floats) -> tuple[list[int], list[float]]:
    """Return the edges of some episodes, and the seconds recorded up to each."""
    if not start.size:
        return [], []
    edge = np.unique(np.concatenate([start, end]))
    first, last = np.searchsorted(edge, start), np.searchsorted(edge, end)
    part = share < 1
    rate = _running(first[~part], last[~part], edge.size, None)
    rate += _running(first[part], last[part], edge.size, share[part])
    step = np.diff(edge) * np.minimum(rate[:-1], 1.0)
    return edge.tolist(), np.concatenate([[0.0], np.cumsum(step)]).tolist()


def _running(
    first: NDArray[np.intp], last: NDArray[np.intp], size: int, share: Floats | None
) -> Floats:
    """Return the sum of the shares that run from each edge on."""
    begun = np.bincount(first, weights=share, minlength=size)
    ended = np.bincount(last, weights=share, minlength=size)
    return np.cumsum(begun - ended, dtype=np.float64)


NOTHING = Spans.of(np.zeros(0, np.int64), np.zeros(0, np.int64))


WALKING = "walk"
EXERCISE = (
    "run", "jog", "cycl", "bik", "swim", "row", "hik", "climb", "danc", "gym", "sport", "tennis",
    "football", "soccer", "basketball", "exercise", "workout", "training", "strength", "aerobic",
)  # fmt: skip
"""Parts of a kind that name exercise; a row of such a kind without an intensity still counts."""

BRISK = ("moderate", "vigorous")
ALL_STEPS = "steps"
BLOCKS = (ALL_STEPS, STILL)
"""Kinds of rows that are blocks of the day, not bouts of movement."""

WALKING_STEPS_A_MIN = 1000 / 15
COUNTED_ON_MOST_DAYS = 0.5


@dataclass(frozen=True, slots=True)
class Movement:
    """The activity stream, sorted by what it says. Of a row with active minutes only these count.

    Attributes:
        walking: rows whose kind is walking, and step blocks of 1000 steps in 15 minutes or more
            where no row says active minutes.
        active: walking, moderate and vigorous rows, and exercise whatever its intensity.
        vigorous: rows noted as vigorous.
        unrated: exercise without an intensity, which may have been vigorous.
        rated: whether any row of the stream has an intensity.
        blocks, bouts: the steps of blocks, and of single bouts of movement.
        once: all steps, each once: those of a walk that a row of kind "steps" overlaps are among
            the steps of that row. A quiet block holds none but its own: some trackers write it
            next to a walk of the same quarter of an hour.
        counted: the time that rows with a step count cover.
        counts_steps: whether steps were counted on most days, so that a day without is a day off.
    """

    walking: Spans
    active: Spans
    vigorous: Spans
    unrated: Spans
    rated: bool
    blocks: Steps
    bouts: Steps
    once: Steps
    counted: Spans
    counts_steps: bool


@dataclass(frozen=True, slots=True)
class Steps:
    """Rows with a step count by the instant halfway through; ``total``: the steps before each."""

    middle: list[int]
    total: list[float]
    origin: tuple[Source, ...]

    @classmethod
    def of(cls, middle: Times, steps: Floats, rows: list[Source], mask: Mask) -> Steps:
        """Return the rows of a mask."""
        places = np.flatnonzero(mask & ~np.isnan(steps))
        places = places[np.argsort(middle[places], kind="stable")]
        total = np.concatenate([[0.0], np.cumsum(steps[places])])
        return cls(middle[places].tolist(), total.tolist(), tuple(rows[k] for k in places))

    def within(self, begin: int, finish: int) -> tuple[float, tuple[Source, ...]]:
        """Return the steps of a window (NaN where none was noted) and their rows."""
        low, high = bisect_left(self.middle, begin), bisect_left(self.middle, finish)
        if high <= low:
            return float("nan"), ()
        return self.total[high] - self.total[low], self.origin[low:high]


def movement_of(client: Client) -> Movement:
    """Sort the activity rows of a client."""
    frame = client.used("activity")
    start, end = seconds(frame["start"]), seconds(frame["end"])
    steps, rows, kinds = numbers(frame["steps"]), origins(frame), kinds_of(frame)
    told = ~np.isnan(numbers(frame["active_min"]))

    def spans(mask: Mask) -> Spans:
        return Spans.among(frame, mask, told=True)

    on_foot = steps / np.maximum((end - start) / 60, 1e-9) >= WALKING_STEPS_A_MIN
    on_foot = _apart(on_foot, spans(told), start, end)
    middle = (start + end) // 2
    counted = ~np.isnan(steps)
    all_steps = counted & kinds.all_steps
    once = all_steps | _apart(counted & ~kinds.all_steps, spans(all_steps), start, end)
    return Movement(
        walking=spans(kinds.walking | on_foot),
        active=spans(kinds.walking | kinds.brisk | kinds.unrated | on_foot),
        vigorous=spans(kinds.vigorous),
        unrated=spans(kinds.unrated),
        rated=kinds.rated,
        blocks=Steps.of(middle, steps, rows, kinds.blocks),
        bouts=Steps.of(middle, steps, rows, ~kinds.blocks),
        once=Steps.of(middle, steps, rows, once),
        counted=Spans.of(start[counted], end[counted]),
        counts_steps=_on_most_days(middle[counted], middle),
    )


def _apart(mask: Mask, spans: Spans, start: Times, end: Times) -> Mask:
    """Return which rows of a mask none of the spans overlaps."""
    found = mask.copy()
    for k in np.flatnonzero(mask):
        found[k] = not spans.touch(int(start[k]), int(end[k]))
    return found


class Kinds(NamedTuple):
    """Which rows are what, by their own words, and whether any of them has an intensity."""

    walking: Mask
    brisk: Mask
    vigorous: Mask
    unrated: Mask
    blocks: Mask
    all_steps: Mask
    rated: bool


def kinds_of(frame: pd.DataFrame) -> Kinds:
    """Sort rows of the activity stream by what they say of themselves; "still" is no movement."""
    names, intensity = pd.Series(words(frame["kind"])), pd.Series(words(frame["intensity"]))
    moving, rated = (names != STILL).to_numpy(bool), (intensity != "").to_numpy(bool)
    return Kinds(
        walking=names.str.contains(WALKING).to_numpy(bool),
        brisk=intensity.isin(BRISK).to_numpy(bool) & moving,
        vigorous=(intensity == "vigorous").to_numpy(bool) & moving,
        unrated=names.str.contains("|".join(EXERCISE)).to_numpy(bool) & ~rated,
        blocks=names.isin(BLOCKS).to_numpy(bool),
        all_steps=(names == ALL_STEPS).to_numpy(bool),
        rated=bool((rated & moving).any()),
    )


def _on_most_days(counted: Times, every: Times) -> bool:
    if not counted.size:
        return False
    days = (every.max() - every.min()) // DAY + 1
    return bool(np.unique(counted // DAY).size >= COUNTED_ON_MOST_DAYS * days)


LEAST_WORN = 0.5
DAYS_OUTSIDE_A_STREAM = 7


@dataclass(frozen=True, slots=True)
class Tracker:
    """When each tracker stream can be trusted to say "none".

    Attributes:
        worn: stream to the spans in which it was sampled, for streams made from samples.
        seen: every record of any tracker stream; rows that count no steps show nothing.
        extent: stream to the instants of its first and last record, absent where it is empty.
    """

    worn: dict[str, Spans]
    seen: Spans
    extent: dict[str, tuple[int, int]]

    def why_unknown(
        self, stream: str, window: tuple[int, int], day: tuple[int, int]
    ) -> Message | None:
        """Return why a stream says nothing about a window of a day, None where it does.

        A sampled stream must have been sampled for half of the window. Of any other, some tracker
        record must fall into that day, and the day may be at most a week outside the stream.
        """
        if stream in self.worn:
            minutes = self.worn[stream].minutes(*window)
            share = covered(minutes, window[1] - window[0])
            if share >= LEAST_WORN:
                return None
            told, need = percent(share), percent(LEAST_WORN)
            return message("tables.not_worn_long_enough", share=told, need=need)
        if stream not in self.extent:
            return message("tables.no_stream_records", stream=stream)
        first, last = self.extent[stream]
        around = DAYS_OUTSIDE_A_STREAM * DAY
        if day[1] < first - around or day[0] > last + around:
            return message("tables.stream_elsewhere", stream=stream)
        if not self.seen.touch(*day):
            return message("tables.no_tracker_record")
        return None


def tracker_of(client: Client) -> Tracker:
    """Return when the tracker of a client was worn."""
    seen, extent = [np.zeros((2, 0), np.int64)], {}
    for stream in ("sleep", "stress", "activity"):
        frame = client.used(stream)
        if not len(frame):
            continue
        start, end = seconds(frame["start"]), seconds(frame["end"])
        extent[stream] = (int(start.min()), int(end.max()))
        idle = np.zeros(len(frame), dtype=bool)
        if stream == "activity":
            idle = (numbers(frame["steps"]) == 0) & (frame["kind"] != STILL).to_numpy()
        seen.append(np.stack([start, end])[:, ~idle])
    worn = {
        stream: Spans.of(seconds(frame["start"]), seconds(frame["end"]))
        for stream, frame in client.worn.items()
    }
    return Tracker(worn, Spans.of(*np.concatenate(seen, axis=1)), extent)


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
    at = None
    if own:
        days = np.unique(seconds(frame["start_clock"])[known] // DAY).size
        if (end - start)[known].sum() >= LEVELS_FROM * days and np.ptp(level[known]) > 0:
            at = highest_quarter(level[known])
            counts = known & (level >= at)
    high, doubtful = Spans.among(frame, counts), Spans.among(frame, ~known & own)
    return Stress(high, doubtful, at, bool(known.any()))


def highest_quarter(level: Floats) -> float:
    """Return the lowest level that at most a quarter of the rows reach; else the highest."""
    values, counts = np.unique(level, return_counts=True)
    reach = np.cumsum(counts[::-1])[::-1]
    few = values[reach <= HIGHEST_SHARE * level.size]
    return float(few[0] if few.size else values[-1])


MAY_LAST = HOUR
"""How far after its start a record without a usable end may have gone on."""


@dataclass(frozen=True, slots=True)
class Unfinished:
    """When something may have gone on: to its end where that is known, else for an hour.

    A record that counted steps may have been a walk whatever it is called: how many steps a minute
    is not known. One that says it was something else unsettles nothing but that.

    Attributes:
        stress, walking, active, vigorous: the time in which it may have been that.
        steps: when the steps that such records counted may have been taken: until the end as
            written, and for an hour at least.
    """

    stress: Spans
    walking: Spans
    active: Spans
    vigorous: Spans
    steps: Spans


def unfinished_of(client: Client) -> Unfinished:
    """Sort the records of a client whose end or level cannot be used by what they may have been."""
    stress, moves = _left_out(client, "stress"), _left_out(client, "activity")
    kinds, counted = kinds_of(moves), numbers(moves["steps"]) > 0
    active = kinds.walking | kinds.brisk | kinds.unrated
    last, may_last = seconds(moves["end"]), _may_last(moves)
    return Unfinished(
        stress=Spans.among(stress, np.ones(len(stress), dtype=bool), end=_may_last(stress)),
        walking=Spans.among(moves, kinds.walking | counted, end=may_last),
        active=Spans.among(moves, active | counted, end=may_last),
        vigorous=Spans.among(moves, kinds.vigorous | kinds.unrated, end=may_last),
        steps=Spans.among(moves, counted, end=np.maximum(last, seconds(moves["start"]) + MAY_LAST)),
    )


def _may_last(frame: pd.DataFrame) -> Times:
    """Return until when each may have gone on: to its end where that is known."""
    ended = (frame["left_out"] == NO_LEVEL).to_numpy(dtype=bool)
    return np.where(ended, seconds(frame["end"]), seconds(frame["start"]) + MAY_LAST)


def _left_out(client: Client, stream: str) -> pd.DataFrame:
    frame = client.streams[stream]
    return frame[frame["left_out"].isin(IN_DOUBT).to_numpy(dtype=bool)]
