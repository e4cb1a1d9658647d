"""When the client sleeps and wakes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .habits import Flags, Floats
from .scenario import Scenario

DAY = 1440
EARLIEST_BED = 22 * 60 + 40


@dataclass(frozen=True, slots=True)
class Nights:
    """The night that opens each row.

    Attributes:
        bed, wake: minutes since the midnight that begins row 0.
        asleep, awake: minutes, whole; they add up to the time in bed.
    """

    bed: Floats
    wake: Floats
    asleep: Floats
    awake: Floats


def sleep(scenario: Scenario, flags: Mapping[str, Flags], rest: Flags) -> Nights:
    """Return the nights: short ones come from a later bedtime and, a little, from earlier waking.

    Waking stays within half an hour of the client's own time (an hour where ``sleep_spread`` is
    2), so that the length of the waking day hardly depends on the night. Short nights are under 6 h
    asleep, all others above; broken nights spend 16 to 21 % of the time in bed awake, others 4 to
    13 %. Nobody is in bed before 22:40, when dinner is over.
    """
    rng = scenario.generator("nights")
    n = len(rest)
    usual = 430.0 + rng.uniform(-5.0, 20.0)
    spread = scenario.sleep_spread
    jitter = spread * np.clip(rng.normal(0.0, 10.0, n), -20.0, 20.0)
    earlier = flags["short_sleep"] * rng.uniform(2.0, 22.0, n)
    wake = np.round(np.arange(n) * DAY + usual + 20.0 * rest + jitter - earlier)
    ordinary = np.clip(rng.normal(rng.uniform(415.0, 435.0), 28.0 * spread, n), 372.0, 500.0)
    short = rng.uniform(352.0 - 52.0 * spread, 352.0, n)
    asleep = np.where(flags["short_sleep"], short, ordinary)
    share = np.clip(rng.normal(0.085, 0.02, n), 0.04, 0.13)
    share = np.where(flags["broken_sleep"], rng.uniform(0.16, 0.21, n), share)
    longest = wake - (np.arange(n) - 1) * DAY - EARLIEST_BED
    in_bed = np.minimum(np.round(asleep / (1.0 - share)), longest)
    awake = np.round(in_bed * share)
    return Nights(bed=wake - in_bed, wake=wake, asleep=in_bed - awake, awake=awake)
