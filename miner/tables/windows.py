"""The windows outcomes are read from, by the client's own sleep and again by the clock."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from miner.core.messages import Message, message
from miner.tables.biological_days import Days
from miner.tables.clockwork import DAY, HOUR, Times, Zones
from miner.tables.glucose.trace import Trace
from miner.tables.sleep.nights import Nights

WAKE_WINDOW = HOUR
NIGHT_BY_THE_CLOCK = (0, 6 * HOUR)


@dataclass(frozen=True, slots=True)
class Windows:
    """One window a day.

    Attributes:
        start, end: instants in seconds, the end not included.
        low, high: places of its first reading and one past its last.
        why: why there is no window, None where there is one.
    """

    start: Times
    end: Times
    low: NDArray[np.intp]
    high: NDArray[np.intp]
    why: tuple[Message | None, ...]

    @classmethod
    def over(
        cls, trace: Trace, start: Times, end: Times, why: tuple[Message | None, ...]
    ) -> Windows:
        """Return windows over a trace."""
        low = np.searchsorted(trace.at, start, side="left")
        high = np.maximum(np.searchsorted(trace.at, end, side="left"), low)
        return cls(start, end, low, high, why)


def own_windows(trace: Trace, days: Days, nights: Nights) -> Mapping[str, Windows]:
    """Return the windows ``wake``, ``night`` and ``day`` by the client's own sleep.

    The hour before waking; falling asleep to waking, or 00:00 to 06:00 where the main sleep is
    not known; waking to the next waking.
    """
    why = why_no_night(days, nights)
    midnight = _night_by_clock(days, trace.zones)
    asleep = np.array(
        [night.start if night else midnight[0][k] for k, night in enumerate(days.night)],
        dtype=np.int64,
    )
    woken = np.where(days.woke, days.start, midnight[1])
    every = (None,) * len(days)
    return {
        "wake": Windows.over(trace, days.start - WAKE_WINDOW, days.start, why),
        "night": Windows.over(trace, asleep, woken, every),
        "day": Windows.over(trace, days.start, days.end, every),
    }


def clock_windows(trace: Trace, days: Days, nights: Nights) -> Mapping[str, Windows]:
    """Return the same windows fixed by the clock: usual waking, 00:00 to 06:00, usual waking."""
    begin = trace.zones.instant(days.number * DAY + days.usual_wake)
    finish = trace.zones.instant((days.number + 1) * DAY + days.usual_wake)
    every = (None,) * len(days)
    why = (nights.none,) * len(days)
    night = _night_by_clock(days, trace.zones)
    return {
        "wake": Windows.over(trace, begin - WAKE_WINDOW, begin, why),
        "night": Windows.over(trace, night[0], night[1], every),
        "day": Windows.over(trace, begin, finish, every),
    }


def why_no_night(days: Days, nights: Nights) -> tuple[Message | None, ...]:
    """Return why the main sleep that opens each day is not known, None where it is."""
    missing = nights.none or message("tables.no_main_sleep")
    return tuple(
        None if night else nights.why_not.get(int(number), missing)
        for night, number in zip(days.night, days.number, strict=True)
    )


def _night_by_clock(days: Days, zones: Zones) -> tuple[Times, Times]:
    begin, finish = (zones.instant(days.number * DAY + clock) for clock in NIGHT_BY_THE_CLOCK)
    return begin, finish
