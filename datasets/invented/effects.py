"""The true effects: what each adds to the latent glucose, sized on the outcome it is stated for."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from .habits import Flags, Floats
from .nights import DAY, Nights
from .scenario import MEALS, Effect, Scenario

SEVEN_HOURS = 7.0


def shifts(scenario: Scenario, time: Floats, flags: Mapping[str, Flags], nights: Nights) -> Floats:
    """Return the sum of all effects that shift the latent glucose, mg/dL at each time.

    - ``wake_glucose``: rises from 3 h before waking, whole in the last 75 minutes, gone an hour
      after waking; the median of the hour that ends at waking moves by the size.
    - ``overnight_mean``: whole from falling asleep to 3 h before waking, gone an hour before
      waking, scaled so that the mean from falling asleep to waking moves by the size and the
      waking glucose does not move.
    - ``day_mean``, ``minutes_above``: whole from waking to 22:00, scaled so that the mean from
      waking to the next waking moves by the size and the nights do not move.
    """
    total = np.zeros_like(time)
    for effect in scenario.effects:
        yes = flags[effect.factor].astype(np.float64)
        if effect.dose:
            yes = SEVEN_HOURS - nights.asleep / 60
        if effect.lag_days:
            yes = np.concatenate([[0.0], yes[:-1]])
        if effect.outcome != "rise":
            total += _trapezoids(time, effect, yes, nights)
    return total


def walk_factors(scenario: Scenario, flags: Mapping[str, Flags]) -> dict[str, Floats]:
    """Return the factor on the rise after each meal, by row: 1 + size on days with the walk."""
    factors: dict[str, Floats] = {name: np.ones(scenario.days + 2) for name in MEALS}
    for effect in scenario.effects:
        if effect.outcome == "rise":
            meal = effect.factor.removeprefix("walk_after_")
            factors[meal] = factors[meal] * (1.0 + effect.size * flags[effect.factor])
    return factors


def plateaus(time: Floats, corners: list[Floats], height: Floats) -> Floats:
    """Return trapezoids, one a row: 0, up to height at corner 1, down from corner 2, 0."""
    at = np.stack(corners, axis=1).ravel()
    zero = np.zeros_like(height)
    return np.interp(time, at, np.stack([zero, height, height, zero], axis=1).ravel())


def _trapezoids(time: Floats, effect: Effect, yes: Floats, nights: Nights) -> Floats:
    bed, wake = nights.bed, nights.wake
    height = effect.size * yes
    if effect.outcome == "wake_glucose":
        corners = [wake - 180.0, wake - 75.0, wake, wake + 60.0]
    elif effect.outcome == "overnight_mean":
        corners = [bed - 30.0, bed, wake - 180.0, wake - 60.0]
        height = height * (wake - bed) / (wake - bed - 120.0)
    else:
        ten = np.arange(len(wake)) * float(DAY) + 22 * 60
        corners = [wake, wake + 30.0, ten, ten + 30.0]
        length = np.append(np.diff(wake), DAY)
        height = height * length / (ten - wake)
    return plateaus(time, corners, height)
