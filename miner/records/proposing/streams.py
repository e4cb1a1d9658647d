"""Which streams a file may feed, and which of its columns may be meant for each of theirs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from miner.records.proposing.columns import Column
from miner.records.proposing.exports import ColumnRule, Exports, StreamRule, glucose_unit
from miner.records.proposing.times import MINUTE, TO_MIN, Times, first_stamps, said_unit
from miner.records.samples import modal_gap

_COLUMN, _FILE, _ALMOST_ALL, _STEADY = 2, 3, 0.99, 0.5


@dataclass(frozen=True, slots=True)
class Claim:
    """A stream that a file may feed.

    Attributes:
        stream: its name.
        rule: how its files tend to look.
        marks: how much speaks for it.
        seen: names of the columns that do.
        by_file: the name of the file does.
        essential: the columns of which it cannot do without at least one.
    """

    stream: str
    rule: StreamRule
    marks: int
    seen: tuple[str, ...]
    by_file: bool
    essential: tuple[Column, ...]

    @property
    def speaks(self) -> bool:
        """Whether the file speaks of the stream, by its name or by that of a column."""
        return self.by_file or bool(self.seen)


def claims(
    named: Sequence[str], columns: Sequence[Column], times: Times, book: Exports
) -> list[Claim]:
    """Return the streams that a file may feed, the likeliest first.

    Args:
        named: the words of the file's name.
        columns: its columns.
        times: those that may hold its times.
        book: how files tend to look.
    """
    found = []
    for stream, rule in book.streams.items():
        by_file = rule.speaks.stand_in(named) and not rule.unless.stand_in(named)
        seen = tuple(each.name for each in columns if _speaks(stream, rule, each))
        fed = feeds(stream, columns, times, book, weak=by_file or bool(seen))
        if fed is not None and (by_file or seen):
            marks = _COLUMN * len(seen) + _FILE * by_file
            found.append(Claim(stream, rule, marks, seen, by_file, fed))
    return sorted(found, key=lambda each: -each.marks)


def _speaks(stream: str, rule: StreamRule, column: Column) -> bool:
    unit = glucose_unit(column.words) if stream == "glucose" else None
    return rule.speaks.stand_in(column.words) or unit is not None


def feeds(
    stream: str, columns: Sequence[Column], times: Times, book: Exports, *, weak: bool
) -> tuple[Column, ...] | None:
    """Return the essential columns of a stream; None where a file lacks them, or its times.

    Args:
        stream: the stream.
        columns: the columns of the file.
        times: those that may hold its times.
        book: how files tend to look.
        weak: words will do that name a column only where the file speaks of the stream.
    """
    rule = book.streams[stream]
    found = {name: among(rule.columns[name], columns, book, weak=weak) for name in rule.essential}
    timed = bool(times.any or (stream == "tags" and times.dates))
    if rule.times == "span" and not times.spans:
        lasts = stream == "sleep" and all(
            among(rule.columns[key], columns, book, weak=weak)
            for key in ("asleep_min", "awake_min")
        )
        timed = timed and (lasts or walkable(found.get("steps", ()), times, book))
    if not timed or (found and not any(found.values())):
        return None
    return tuple(each for some in found.values() for each in some)


def among(
    rule: ColumnRule, columns: Sequence[Column], book: Exports, *, weak: bool
) -> list[Column]:
    """Return the columns that may be meant by a rule: those that it names most plainly.

    Args:
        rule: of a column of a stream.
        columns: to choose from.
        book: how files tend to look.
        weak: its weak words will do.
    """
    fits = [each for each in columns if _holds(rule, each, book)]
    fits = [each for each in fits if not rule.unless.stand_in(each.words)]
    for words in (rule.words, rule.weak) if weak else (rule.words,):
        ranks = [words.rank(each.words) for each in fits]
        known = [rank for rank in ranks if rank is not None]
        if known:
            return [each for each, rank in zip(fits, ranks, strict=True) if rank == min(known)]
    return []


def _holds(rule: ColumnRule, column: Column, book: Exports) -> bool:
    if rule.holds == "numbers":
        blank = not column.filled and rule.middle is None
        return blank or (column.numeric and _middle_fits(rule, column, book))
    if rule.holds == "levels":
        return column.numeric or bool(column.listed)
    if rule.holds == "names":
        return column.written is None and bool(column.filled)
    if rule.holds == "choice":
        return column.free and bool(column.listed or not column.filled)
    return column.free


def _middle_fits(rule: ColumnRule, column: Column, book: Exports) -> bool:
    if rule.middle is None:
        return True
    said = said_unit(column, book)
    scales = [1.0] if rule.unit is None else [TO_MIN[said]] if said else TO_MIN.values()
    return any(rule.middle[0] <= column.middle * each <= rule.middle[1] for each in scales)


def cadence_min(times: Times, book: Exports) -> float | None:
    """Return how far apart the times of a file are, in minutes; None where it is not sampled."""
    if not times.any:
        return None
    stamps = np.unique(first_stamps(times.any[0]))
    gaps = np.diff(stamps[~np.isnat(stamps)]) / MINUTE
    middle, most = float(np.median(gaps)) if gaps.size else np.inf, book.limits.sampled_every_min
    steady = gaps.size > 0 and (np.abs(gaps - middle) <= middle / 2).mean() >= _STEADY
    gap = modal_gap(stamps) if middle <= most and steady else None
    return None if gap is None else float(gap / MINUTE)


def walkable(steps: Sequence[Column], times: Times, book: Exports) -> bool:
    """Say whether steps that stand beside single times can be those of the time up to the next."""
    every = cadence_min(times, book)
    if not steps or every is None:
        return False
    most = np.nanquantile(steps[0].values, _ALMOST_ALL)
    return bool(most <= book.limits.most_steps_a_minute * every)
