"""The latent glucose of an invented client, and what a sensor shows of it.

The latent series is the sum of a base, a slow straight drift, the level of the day, a weekend
level, the night's own wobble, the rise before waking, the rises after food, and the true effects.

- The level of the day is AR(1) from day to day. It changes in the hour after waking, so a night
  and its morning keep the level of the day before them.
- The rise before waking is tied to waking, not to the clock: a short night holds all of it.
- A rise after food is ((t/p) e^(1 - t/p))^2.5 with its peak at p = 48 minutes. Source: Freckmann
  et al. 2007, J Diabetes Sci Technol, usual peak 46 to 50 minutes. In its third hour it is drawn
  straight down to nothing, so a dinner at 19:00 is not seen from 22:00 on.
- A sensor adds a bias of its own, a first day that settles, and noise that is correlated over
  about 15 minutes; it shows whole mg/dL, or mmol/L with one decimal.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .eating import Meals
from .effects import plateaus, shifts, walk_factors
from .habits import Flags, Floats
from .nights import DAY, Nights
from .scenario import MEALS, Scenario

PEAK_MIN = 48.0
OVER_MIN = 180
TEN_AT_NIGHT = 22 * 60


@dataclass(frozen=True, slots=True)
class Glucose:
    """Readings on a regular grid.

    Attributes:
        time: minutes since the midnight that begins row 0.
        latent: true glucose, mg/dL.
        shown: what the sensor shows, mg/dL, NaN in a gap.
        sensor: number of the sensor, from 0.
        changes: minutes at which a new sensor began.
    """

    time: Floats
    latent: Floats
    shown: Floats
    sensor: NDArray[np.int64]
    changes: Floats


def sense(
    scenario: Scenario,
    flags: Mapping[str, Flags],
    rest: Flags,
    levels: Floats,
    nights: Nights,
    meals: Meals,
) -> Glucose:
    """Return the latent series and the sensor's view of it, from the first midnight to the end."""
    offset = scenario.generator("clock").integers(0, scenario.cadence)
    last = (scenario.days + 1) * DAY + 9 * 60
    time = np.arange(DAY + offset, last, scenario.cadence, dtype=np.float64)
    latent = (
        _slow(scenario, time, rest, levels, nights)
        + _after_food(scenario, time, flags, nights, meals)
        + shifts(scenario, time, flags, nights)
    )
    sensor, changes = _worn(scenario, time)
    shown = np.round(latent + _error(scenario, time, sensor, changes), 6)
    shown[_gaps(scenario, time, changes)] = np.nan
    return Glucose(time, latent, shown, sensor, changes)


def _slow(scenario: Scenario, time: Floats, rest: Flags, levels: Floats, nights: Nights) -> Floats:
    rng = scenario.generator("slow")
    base = scenario.base + rng.normal(0.0, 2.0)
    drift = rng.normal(0.0, 3.0) * (time / time[-1] - 0.5)
    wake = nights.wake
    before = np.concatenate([levels[:1], levels[:-1]])
    level = np.interp(
        time, np.stack([wake, wake + 60.0], 1).ravel(), np.stack([before, levels], 1).ravel()
    )
    ten = np.arange(len(wake)) * float(DAY) + TEN_AT_NIGHT
    weekend = plateaus(time, [ten - DAY, ten - DAY + 30.0, ten - 30.0, ten], 3.0 * rest)
    own = rng.normal(0.0, 2.8, len(wake))
    night = plateaus(time, [ten - DAY, ten - DAY + 30.0, wake, wake + 60.0], own)
    rise = np.clip(rng.normal(6.0, 2.5, len(wake)), 0.0, None)
    dawn = plateaus(time, [wake - 120.0, wake - 40.0, wake, wake + 75.0], rise)
    total: Floats = base + drift + level + weekend + night + dawn
    return total


def _after_food(
    scenario: Scenario, time: Floats, flags: Mapping[str, Flags], nights: Nights, meals: Meals
) -> Floats:
    rng = scenario.generator("rises")
    n = len(nights.wake)
    own = {name: rng.normal(mean, 9.0, n) for name, mean in zip(MEALS, (54, 57, 59), strict=True)}
    midnight = np.arange(n) * float(DAY)
    near = np.clip(rng.normal(0.0, 12.0, (3, n)), -20.0, 20.0)
    starts = (nights.wake + 45.0, midnight + 765.0, midnight + 1140.0)
    snacks = rng.random(n) < 0.5
    snack_at, snack_size = midnight + rng.uniform(900.0, 1020.0, n), rng.normal(18.0, 4.0, n)
    walk = walk_factors(scenario, flags)
    if scenario.linked_meals:
        at = meals.time
        size = _linked(scenario, own, walk, meals)
    else:
        at = np.concatenate([*(np.array(starts) + near), snack_at[snacks]])
        size = np.concatenate([*(own[name] * walk[name] for name in MEALS), snack_size[snacks]])
    return _rises(time, at, scenario.meal_size * np.clip(size, 3.0, None))


def _linked(
    scenario: Scenario, own: Mapping[str, Floats], walk: Mapping[str, Floats], meals: Meals
) -> Floats:
    size = 18.0 + scenario.carb_slope * (meals.carbs - 24.0)
    for name in MEALS:
        at = meals.meal == name
        row = meals.row[at]
        grams = scenario.carb_slope * (meals.carbs[at] - 50.0)
        size[at] = (own[name][row] + grams) * walk[name][row]
    size[meals.meal == "snack"] -= 6.0
    return size


def _rises(time: Floats, at: Floats, size: Floats) -> Floats:
    cadence = time[1] - time[0]
    first = np.ceil((at - time[0]) / cadence).astype(np.int64)
    index = first[:, None] + np.arange(int(OVER_MIN // cadence))[None, :]
    age = time[0] + index * cadence - at[:, None]
    x = np.clip(age / PEAK_MIN, 0.0, None)
    left = np.clip((OVER_MIN - age) / 60.0, 0.0, 1.0)
    height = size[:, None] * left * (x * np.exp(1.0 - x)) ** 2.5
    inside = (index >= 0) & (index < len(time))
    total = np.bincount(index[inside], weights=height[inside], minlength=len(time))
    return np.asarray(total, dtype=np.float64)


def _worn(scenario: Scenario, time: Floats) -> tuple[NDArray[np.int64], Floats]:
    worn = np.arange(1, 1 + scenario.days // scenario.sensor_days)
    changes: Floats = (1.0 + scenario.sensor_days * worn) * DAY + 600.0
    changes = changes[changes < time[-1] - DAY]
    return np.searchsorted(changes, time, side="right").astype(np.int64), changes


def _error(scenario: Scenario, time: Floats, sensor: NDArray[np.int64], changes: Floats) -> Floats:
    rng = scenario.generator("sensor")
    count = len(changes) + 1
    bias, settling = rng.normal(0.0, scenario.sensor_sd, count), rng.normal(0.0, 5.0, count)
    age = time - np.concatenate([[float(DAY)], changes])[sensor]
    phi = np.exp(-scenario.cadence / 15.0)
    kernel = phi ** np.arange(40)
    white = scenario.generator("noise").normal(size=len(time) + 39)
    noise = 3.5 * np.sqrt(1.0 - phi**2) * np.convolve(white, kernel, mode="valid")
    error: Floats = bias[sensor] + settling[sensor] * np.exp(-age / 480.0) + noise
    return error


def _gaps(scenario: Scenario, time: Floats, changes: Floats) -> Flags:
    rng = scenario.generator("gaps")
    count = rng.poisson(0.15 * scenario.days)
    start = rng.uniform(time[0], time[-1], count)
    length = rng.exponential(90.0, count) + np.where(rng.random(count) < 0.1, 480.0, 20.0)
    start = np.concatenate([start, changes])
    length = np.concatenate([length, np.full(len(changes), 75.0)])
    gap = (time[:, None] >= start) & (time[:, None] < start + length)
    return np.asarray(gap.any(axis=1))
