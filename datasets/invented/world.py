"""One invented client as it really was, before anything is written down."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from .eating import Meals, eat
from .glucose import Glucose, sense
from .habits import Flags, Floats, day_levels, happened, rest_days
from .nights import Nights, sleep
from .scenario import Scenario


@dataclass(frozen=True, slots=True)
class World:
    """Everything that happened; arrays by row, row 0 being the day before the records begin."""

    scenario: Scenario
    rest: Flags
    levels: Floats
    happened: Mapping[str, Flags]
    nights: Nights
    meals: Meals
    glucose: Glucose


def simulate(scenario: Scenario) -> World:
    """Return the world of a scenario; the same scenario gives the same world."""
    rest, levels = rest_days(scenario), day_levels(scenario)
    flags = happened(scenario, levels, rest)
    nights = sleep(scenario, flags, rest)
    meals = eat(scenario, flags, nights)
    glucose = sense(scenario, flags, rest, levels, nights, meals)
    return World(scenario, rest, levels, flags, nights, meals, glucose)
