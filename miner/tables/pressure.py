"""Lows that look like pressure on the sensor: asleep, sudden, flat, and gone as suddenly."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from miner.tables.clockwork import Floats


@dataclass(frozen=True, slots=True)
class Low:
    """One stretch of low readings, in minutes on the clock of the readings."""

    start: float
    end: float
    lowest: float


@dataclass(frozen=True, slots=True)
class LowRule:
    """What looks like pressure. Lengths in minutes, glucose in the unit of the readings.

    Attributes:
        fall, within_min: it falls by so much in so long.
        rebound, back_within_min: it comes back by so much in so long.
        shortest_min, longest_min: how long it lasts.
        flat: readings this near to the lowest are its floor.
        flat_share: the least share of the stretch on the floor.
    """

    fall: float = 20
    within_min: float = 15
    rebound: float = 20
    back_within_min: float = 30
    shortest_min: float = 15
    longest_min: float = 120
    flat: float = 12
    flat_share: float = 0.5


def pressure_lows(
    minutes: Floats, glucose: Floats, asleep: Iterable[tuple[float, float]], **thresholds: float
) -> tuple[Low, ...]:
    """Return the stretches inside sleep that look like pressure on the sensor.

    A stretch begins where readings have fallen by ``fall`` within ``within_min`` and ends where
    they have made good half of that fall; from its last reading on the floor they must climb by
    ``rebound`` within ``back_within_min``. It is a question to a person, never an answer.

    Args:
        minutes: when each reading was taken, ascending.
        glucose: the readings, any one unit (the defaults are mg/dL), no NaN.
        asleep: begin and end of each sleep, on the same clock.
        thresholds: any of the fields of ``LowRule``.

    Source: common practice, no source.
    """
    rule = LowRule(**thresholds)
    found: list[Low] = []
    for begin, end in asleep:
        low, high = np.searchsorted(minutes, [begin - rule.within_min, end + rule.back_within_min])
        t, v = minutes[low:high], glucose[low:high]
        at = 0
        while (hit := _first_fall(t, v, at, rule)) is not None:
            start, level = hit
            stop = _end(v, start, level)
            one = _stretch(t, v, start, stop, rule)
            if one is not None and one.start >= begin and one.end <= end:
                found.append(one)
            at = max(stop, start + 1)
    return tuple(found)


def _first_fall(t: Floats, v: Floats, at: int, rule: LowRule) -> tuple[int, float] | None:
    for k in range(at + 1, len(t)):
        near = np.flatnonzero(t[at:k] >= t[k] - rule.within_min) + at
        if near.size and v[near].max() - v[k] >= rule.fall:
            return k, float(v[near].max())
    return None


def _end(v: Floats, start: int, level: float) -> int:
    """Return the first place at which half of the fall is made good, else one past the last."""
    lowest = v[start]
    for k in range(start, len(v)):
        lowest = min(lowest, v[k])
        if v[k] - lowest >= (level - lowest) / 2:
            return k
    return len(v)


def _stretch(t: Floats, v: Floats, start: int, stop: int, rule: LowRule) -> Low | None:
    if stop >= len(v):
        return None
    inside = v[start:stop]
    lowest = float(inside.min())
    floor = np.flatnonzero(inside <= lowest + rule.flat)
    length = t[stop] - t[start]
    last = start + int(floor[-1])
    after = v[last:][t[last:] <= t[last] + rule.back_within_min]
    lasts = rule.shortest_min <= length <= rule.longest_min
    flat = floor.size >= rule.flat_share * inside.size
    if lasts and flat and after.max() - v[last] >= rule.rebound:
        return Low(float(t[start]), float(t[stop]), lowest)
    return None
