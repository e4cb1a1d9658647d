"""The measures a factor of the rule book may ask for, by name."""

from __future__ import annotations

from collections.abc import Mapping

from miner.tables import measures_activity as activity
from miner.tables import measures_meals as meals
from miner.tables import measures_sleep as sleep
from miner.tables import measures_stress as stress
from miner.tables.day_records import Measure

MEASURES: Mapping[str, Measure] = {
    function.__name__: function
    for function in (
        sleep.asleep_hours,
        sleep.awake_share,
        sleep.deep_share,
        sleep.midpoint_later_than_usual,
        stress.stress_minutes,
        stress.morning_stress_minutes,
        stress.evening_stress_minutes,
        activity.active_minutes,
        activity.vigorous_minutes,
        activity.steps,
        activity.walk_after_breakfast_minutes,
        activity.walk_after_lunch_minutes,
        activity.walk_after_dinner_minutes,
        meals.carbs_grams,
        meals.dinner_carbs_grams,
        meals.carb_only_snacks,
        meals.evening_snacks,
        meals.dinner_clock,
        meals.hours_to_first_food,
        meals.eating_window_hours,
    )
}
