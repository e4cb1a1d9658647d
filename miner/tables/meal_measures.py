"""The numbers behind the factors of a meal. What is not logged is unknown, never "no"."""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan, nan

import numpy as np

from miner.tables.clockwork import DAY, HOUR
from miner.tables.food.meals import NEVER, MealMeasure, MealRecords
from miner.tables.found import Found, because, unknown
from miner.tables.measures_activity import WALK_WITHIN, walked, why_no_activity
from miner.tables.measures_meals import (
    FEWEST_OCCASIONS,
    NOT_TOLD,
    SNACK_CARBS_G,
    SNACK_PROTEIN_G,
    too_few_occasions,
)
from miner.tables.measures_sleep import asleep_hours
from miner.tables.measures_stress import stressed, why_no_stress

STRESS_BEFORE = 3 * HOUR
TAG_AROUND = HOUR
NO_DAY = because("no_readings_that_day")


def meal_carbs_grams(records: MealRecords, k: int) -> Found:
    """Grams of carbohydrate; a noted level decides where grams are not told."""
    item = records.meals[k].occasion
    if not isnan(item.carbs):
        return Found(item.carbs, rows=item.rows)
    decided = float(item.carbs_level == "high") if item.carbs_level else nan
    why = because("meal_carbs_not_told")
    return Found(why=why, rows=item.rows, decided=decided, floor=item.carbs_told)


def meal_protein_grams(records: MealRecords, k: int) -> Found:
    """Grams of protein; a noted level decides where grams are not told."""
    item = records.meals[k].occasion
    if not isnan(item.protein):
        return Found(item.protein, rows=item.rows)
    decided = float(item.protein_level != "low") if item.protein_level else nan
    return Found(why=because("meal_protein_not_told"), rows=item.rows, decided=decided)


def meal_carb_only(records: MealRecords, k: int) -> Found:
    """1 where it had 15 g of carbohydrate or more and under 5 g of protein, else 0."""
    item = records.meals[k].occasion
    carbs, protein = item.carbs >= SNACK_CARBS_G, item.protein < SNACK_PROTEIN_G
    carbs_known, protein_known = not isnan(item.carbs), not isnan(item.protein)
    if not carbs_known and item.carbs_level:
        carbs, carbs_known = item.carbs_level != "low", True
    if not protein_known and item.protein_level:
        protein, protein_known = item.protein_level == "low", True
    no = (carbs_known and not carbs) or (protein_known and not protein)
    if not no and not (carbs_known and protein_known):
        return unknown("meal_amounts_not_told", item.rows)
    return Found(float(not no), rows=item.rows)


def meal_walk_minutes(records: MealRecords, k: int) -> Found:
    """Minutes walked within an hour of the meal; unknown where the tracker was not worn."""
    meal = records.meals[k]
    if meal.day < 0:
        return unknown(NO_DAY, meal.rows)
    window = (meal.at, meal.at + WALK_WITHIN)
    if why := why_no_activity(records.days, meal.day, window):
        return unknown(why, meal.rows)
    return walked(records.days, window, meal.rows)


def meal_clock(records: MealRecords, k: int) -> Found:
    """Clock time in hours after midnight of the day's date (24.5 is half past twelve)."""
    meal = records.meals[k]
    if meal.day < 0:
        return unknown(NO_DAY, meal.rows)
    return Found((meal.clock - records.days.midnight(meal.day)) / HOUR, rows=meal.rows)


def meal_hours_since_food(records: MealRecords, k: int) -> Found:
    """Hours since the food logged before; long ones count where the day was logged at all."""
    meal = records.meals[k]
    if meal.last_food == -NEVER:
        return unknown("no_food_before", meal.rows)
    hours = (meal.at - meal.last_food) / HOUR
    rows = records.meals[k - 1].rows + meal.rows
    if meal.doubtful:
        return unknown(NOT_TOLD, rows)
    logged = len(records.days.eaten[meal.day].occasions) if meal.day >= 0 else 0
    if records.meals[k - 1].day != meal.day and logged < FEWEST_OCCASIONS:
        return unknown(too_few_occasions(logged), rows)
    return Found(hours, rows=rows)


def meal_night_asleep_hours(records: MealRecords, k: int) -> Found:
    """Hours asleep in the night that opens the day of the meal."""
    meal = records.meals[k]
    return asleep_hours(records.days, meal.day) if meal.day >= 0 else unknown(NO_DAY, meal.rows)


def meal_stress_minutes_before(records: MealRecords, k: int) -> Found:
    """Stressed minutes of the three waking hours before the meal."""
    meal = records.meals[k]
    if meal.day < 0:
        return unknown(NO_DAY, meal.rows)
    begin, _ = records.days.day(meal.day)
    window = (max(meal.at - STRESS_BEFORE, begin), meal.at)
    if window[1] <= window[0]:
        return unknown("eaten_at_waking", meal.rows)
    if why := why_no_stress(records.days, meal.day, window):
        return unknown(why, meal.rows)
    return stressed(records.days, window, meal.rows)


MEASURES: Mapping[str, MealMeasure] = {
    function.__name__: function
    for function in (
        meal_carbs_grams,
        meal_protein_grams,
        meal_carb_only,
        meal_walk_minutes,
        meal_clock,
        meal_hours_since_food,
        meal_night_asleep_hours,
        meal_stress_minutes_before,
    )
}


def food_measure(words: str) -> MealMeasure:
    """Return the measure of one food: whether the labels of the meal hold these words."""

    def count(records: MealRecords, k: int) -> Found:
        meal = records.meals[k]
        if not meal.eaten:
            return unknown("label_not_told", meal.rows)
        return Found(float(words in meal.eaten), rows=meal.rows)

    return count


def tag_measure(tag: str, records: MealRecords) -> MealMeasure:
    """Return the measure of one tag: how often it was noted within an hour of the meal.

    Before its first use a tag is unknown; after it a logged meal without is "no". A tag with a
    date alone may have been near any meal of its date.
    """
    every = np.array([k for k, name in enumerate(records.tag_name) if name == tag], dtype=np.intp)
    first = int(records.tag_start[every].min()) if every.size else NEVER
    own = every[records.tag_date[every] < 0]
    dates = set(records.tag_date[every].tolist())
    start, end = records.tag_start[own], records.tag_end[own]

    def count(records: MealRecords, k: int) -> Found:
        meal = records.meals[k]
        if meal.at + TAG_AROUND < first:
            return unknown("before_first_use", meal.rows)
        near = (start <= meal.at + TAG_AROUND) & (end >= meal.at - TAG_AROUND)
        if not near.any() and meal.clock // DAY in dates:
            return unknown("tag_without_time", meal.rows)
        rows = tuple(records.tag_row[int(place)] for place in own[near])
        return Found(float(near.sum()), rows=rows + meal.rows)

    return count
