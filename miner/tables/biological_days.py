"""Biological days: from the end of one main sleep to the end of the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from miner.tables.clockwork import DAY, HOUR, Times, iso_day, usual_clock
from miner.tables.glucose.trace import Trace
from miner.tables.sleep.nights import Night, Nights

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
