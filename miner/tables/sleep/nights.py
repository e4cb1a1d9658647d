"""The main sleep of every night, and the biological days from waking to waking."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isnan, nan
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import Message, message
from miner.records.client import Client
from miner.tables.columns import (
    DAY,
    HOUR,
    Source,
    Times,
    iso_day,
    numbers,
    origins,
    seconds,
    usual_clock,
    words,
)

if TYPE_CHECKING:
    from miner.tables.glucose.trace import Trace

LONGEST_WAKING_MIN = 60
WAKES_FROM = 3 * HOUR
WAKES_UNTIL = 14 * HOUR


@dataclass(frozen=True, slots=True)
class Episode:
    """One row of the sleep stream; minutes are NaN where the tracker did not give them."""

    start: int
    end: int
    start_clock: int
    end_clock: int
    main: bool
    asleep: float
    awake: float
    deep: float
    source: Source

    @property
    def minutes(self) -> float:
        """Minutes from its start to its end."""
        return (self.end - self.start) / 60


@dataclass(frozen=True, slots=True)
class Night:
    """One main sleep, made of one or more episodes with an hour or less awake between them.

    Attributes:
        episodes: in time order, none overlapping another.
        asleep_known: whether the tracker told time asleep, so that it need not be time in bed.
    """

    episodes: tuple[Episode, ...]

    @property
    def start(self) -> int:
        """The instant of falling asleep."""
        return self.episodes[0].start

    @property
    def end(self) -> int:
        """The instant of waking."""
        return self.episodes[-1].end

    @property
    def end_clock(self) -> int:
        """The wall clock at waking."""
        return self.episodes[-1].end_clock

    @property
    def middle_clock(self) -> int:
        """The wall clock halfway between falling asleep and waking."""
        return self.episodes[0].start_clock + (self.end - self.start) // 2

    @property
    def main(self) -> bool:
        """Whether the tracker itself called any part of it the main sleep."""
        return any(item.main for item in self.episodes)

    @property
    def span_min(self) -> float:
        """Minutes from falling asleep to waking, time awake included."""
        return (self.end - self.start) / 60

    @property
    def in_bed_min(self) -> float:
        """Minutes within the episodes, time up between them left out."""
        return sum(item.minutes for item in self.episodes)

    @property
    def asleep_known(self) -> bool:
        """Whether the tracker told the time asleep of every part."""
        return not any(isnan(item.asleep) for item in self.episodes)

    @property
    def asleep_min(self) -> float:
        """Minutes asleep where the tracker told them, else minutes in bed."""
        return sum(item.asleep for item in self.episodes) if self.asleep_known else self.in_bed_min

    @property
    def awake_min(self) -> float:
        """Minutes awake after falling asleep, time up between the parts counted as awake."""
        told = sum(item.awake for item in self.episodes)
        if not isnan(told):
            return told + self.span_min - self.in_bed_min
        return max(self.span_min - self.asleep_min, 0.0) if self.asleep_known else nan

    @property
    def deep_min(self) -> float:
        """Minutes of deep sleep, NaN where any part does not tell."""
        return sum(item.deep for item in self.episodes)

    @property
    def sources(self) -> tuple[Source, ...]:
        """The rows it is made of."""
        return tuple(item.source for item in self.episodes)


@dataclass(frozen=True, slots=True)
class Nights:
    """Main sleeps by the day number of their waking.

    Attributes:
        by_day: day number (days since 1970-01-01) to the night that ended on it.
        why_not: day number to the reason, for nights whose record was left out.
        naps: how many episodes were marked as naps and not used.
        none: why there is none, None where there is one.
    """

    by_day: Mapping[int, Night]
    why_not: Mapping[int, Message]
    naps: int
    none: Message | None


def nights_of(client: Client) -> Nights:
    """Find every main sleep.

    A night is the longest sleep that ends between 03:00 and 14:00 by the wall clock; an episode
    marked main wins whenever it ends, an episode marked nap is never used. Parts with an hour or
    less between them are one night. It belongs to the date of its waking.
    """
    return client.derived("nights", None, lambda: _nights_of(client))


def _nights_of(client: Client) -> Nights:
    frame = client.used("sleep")
    kinds = words(frame["kind"])
    naps = kinds.count("nap")
    episodes = [item for item, kind in zip(_episodes(frame), kinds, strict=True) if kind != "nap"]
    by_day: dict[int, Night] = {}
    for night in _joined(episodes):
        day, clock = divmod(night.end_clock, DAY)
        if not night.main and not WAKES_FROM <= clock <= WAKES_UNTIL:
            continue
        best = by_day.get(day)
        if best is None or (night.main, night.in_bed_min) > (best.main, best.in_bed_min):
            by_day[day] = night
    left_out = _left_out(client.streams["sleep"])
    none = message("tables.no_sleep_records")
    if episodes:
        none = message("tables.sleep_not_at_night", n=len(episodes))
    return Nights(
        by_day=dict(sorted(by_day.items())),
        why_not={day: why for day, why in left_out.items() if day not in by_day},
        naps=naps,
        none=None if by_day else none,
    )


def _episodes(frame: pd.DataFrame) -> list[Episode]:
    start, end = seconds(frame["start"]), seconds(frame["end"])
    from_clock, to_clock = seconds(frame["start_clock"]), seconds(frame["end_clock"])
    asleep, awake, deep = (numbers(frame[f"{name}_min"]) for name in ("asleep", "awake", "deep"))
    stages = sum(numbers(frame[f"{name}_min"]) for name in ("deep", "rem", "light"))
    asleep = np.where(np.isnan(asleep), stages, asleep)
    main = np.array([kind == "main" for kind in words(frame["kind"])], dtype=bool)
    columns = start, end, from_clock, to_clock, main, asleep, awake, deep
    rows = zip(*(column.tolist() for column in columns), origins(frame), strict=True)
    return [Episode(*row) for row in rows]


def _joined(episodes: list[Episode]) -> list[Night]:
    """Join parts of one night; of two records that overlap, the longer one is kept."""
    groups: list[list[Episode]] = []
    for item in sorted(episodes, key=lambda each: (each.start, each.end, each.source)):
        last = groups[-1][-1] if groups else None
        if last is None or item.start - last.end > LONGEST_WAKING_MIN * 60:
            groups.append([item])
        elif item.start >= last.end:
            groups[-1].append(item)
        elif (item.main, item.minutes) > (last.main, last.minutes):
            groups[-1][-1] = item
    return [Night(tuple(group)) for group in groups]


def _left_out(frame: pd.DataFrame) -> dict[int, Message]:
    aside = (frame["left_out"] != "").to_numpy(dtype=bool)
    if not aside.any():
        return {}
    rows = frame[aside & (frame["kind"] != "nap").to_numpy(dtype=bool)]
    rows = rows.dropna(subset=["end_clock"])
    days = seconds(rows["end_clock"]) // DAY
    return {
        int(day): message("tables.night_left_out", why=message(f"records.left_out_{why}"))
        for day, why in zip(days, rows["left_out"].tolist(), strict=True)
    }


WITHOUT_SLEEP_RECORDS = 4 * HOUR
DAWN = 4 * HOUR
BEFORE_WAKING = 3 * HOUR


@dataclass(frozen=True, slots=True)
class Days:
    """One row a biological day, in time order, without a hole.

    Attributes:
        number: days since 1970-01-01 of the date it starts on.
        start, end: instants in seconds; each day ends where the next begins.
        start_clock, end_clock: the same on the wall clock.
        night: the main sleep that opens it, or None.
        woke: whether the start is a waking that was recorded.
        asleep: the instant of falling asleep that closes the waking day, else its end.
        usual_wake: the client's median waking, seconds after midnight.
    """

    number: Times
    start: Times
    end: Times
    start_clock: Times
    end_clock: Times
    night: tuple[Night | None, ...]
    woke: NDArray[np.bool_]
    asleep: Times
    usual_wake: int

    @property
    def names(self) -> tuple[str, ...]:
        """ISO dates."""
        return tuple(iso_day(number) for number in self.number)

    def __len__(self) -> int:
        return int(self.number.size)

    def of(self, at: Times) -> NDArray[np.int64]:
        """Return the place of the day each instant falls in, -1 outside all of them."""
        place = np.searchsorted(self.start, at, side="right") - 1
        inside = (place >= 0) & (at < self.end[place]) if len(self) else np.zeros(at.size, bool)
        return np.where(inside, place, -1).astype(np.int64)

    def of_eating(self, at: Times) -> NDArray[np.int64]:
        """Return the place of the day to which what was eaten at each instant belongs.

        What is eaten before a waking, but from 04:00 and in the night that ends there, is the
        first of the day to come: who eats is up. Where that night is not recorded it is so in the
        three hours before.
        """
        place = self.of(at)
        if not len(self):
            return place
        dawn = self.start - (self.start_clock - self.number * DAY) + DAWN
        bed = np.array([night.start if night else -1 for night in self.night], dtype=np.int64)
        begins = np.maximum(dawn, np.where(bed < 0, self.start - BEFORE_WAKING, bed))
        coming = np.searchsorted(self.start, at, side="right")
        known = np.minimum(coming, len(self) - 1)
        early = (coming < len(self)) & (at >= begins[known])
        return np.where(early, known, place).astype(np.int64)


def days_of(trace: Trace, nights: Nights) -> Days:
    """Cut the record into biological days, from its first reading's date to its last.

    Where a main sleep is missing the boundary is the client's median waking; without any sleep
    record it is 04:00.
    """
    wakings = np.array([night.end_clock for night in nights.by_day.values()], dtype=np.int64)
    usual = usual_clock(wakings)
    usual_wake = WITHOUT_SLEEP_RECORDS if usual is None else usual
    first, last = (trace.clock[0] // DAY, trace.clock[-1] // DAY) if trace.at.size else (0, -1)
    number = np.arange(first, last + 2, dtype=np.int64)
    night = [nights.by_day.get(int(day)) for day in number]
    bound_clock = np.array(
        [
            item.end_clock if item else day * DAY + usual_wake
            for item, day in zip(night, number.tolist(), strict=True)
        ],
        dtype=np.int64,
    )
    by_clock = trace.zones.instant(bound_clock)
    bound = np.array(
        [item.end if item else by_clock[k] for k, item in enumerate(night)], dtype=np.int64
    )
    keep = number.size - 1
    if keep > 0 and trace.at[-1] < bound[keep - 1]:
        keep -= 1
    closes = [item.start if item else bound[k + 1] for k, item in enumerate(night[1:])]
    asleep = np.clip(np.array(closes, dtype=np.int64), bound[:-1], bound[1:])
    return Days(
        number=number[:keep],
        start=bound[:keep],
        end=bound[1 : keep + 1],
        start_clock=bound_clock[:keep],
        end_clock=bound_clock[1 : keep + 1],
        night=tuple(night[:keep]),
        woke=np.array([item is not None for item in night[:keep]], dtype=bool),
        asleep=asleep[:keep],
        usual_wake=usual_wake,
    )


def why_no_night(days: Days, nights: Nights) -> tuple[Message | None, ...]:
    """Return why the main sleep that opens each day is not known, None where it is."""
    missing = nights.none or message("tables.no_main_sleep")
    return tuple(
        None if night else nights.why_not.get(int(number), missing)
        for night, number in zip(days.night, days.number, strict=True)
    )
