"""The meal table: one row an eating occasion, what followed it, and what was done around it."""

from __future__ import annotations

from collections.abc import Mapping
from functools import wraps
from math import isnan, nan
from typing import TYPE_CHECKING

import numpy as np

from miner.core.messages import Message
from miner.records.client import Client
from miner.tables.cells import Found, because, unknown
from miner.tables.columns import DAY, HOUR, Floats, percent
from miner.tables.days import told_left_out
from miner.tables.food.meals import (
    NEVER,
    WINDOW_MIN,
    After,
    MealMeasure,
    MealRecords,
    after_meals,
    meal_records,
    outcomes_after,
)
from miner.tables.glucose.trace import BEYOND, Trace
from miner.tables.measures import (
    FEWEST_OCCASIONS,
    NOT_TOLD,
    WALK_WITHIN,
    asleep_hours,
    carb_only,
    carbs_of,
    stressed,
    too_few_occasions,
    walked,
)
from miner.tables.units import Rows, UnitSpecification

if TYPE_CHECKING:
    from miner.rulebook import RuleBook

STRESS_BEFORE = 3 * HOUR
TAG_AROUND = HOUR
NO_DAY = because("no_readings_that_day")


def _on_a_day(measure: MealMeasure) -> MealMeasure:
    """Return a measure that is unknown of a meal outside the readings."""

    @wraps(measure)
    def found(records: MealRecords, k: int) -> Found:
        meal = records.meals[k]
        return unknown(NO_DAY, meal.rows) if meal.day < 0 else measure(records, k)

    return found


def meal_carbs_grams(records: MealRecords, k: int) -> Found:
    """Grams of carbohydrate; a noted level decides where grams are not told."""
    return carbs_of(records.meals[k].occasion, "meal_carbs_not_told")


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
    only = carb_only(item)
    if only is None:
        return unknown("meal_amounts_not_told", item.rows)
    return Found(float(only), rows=item.rows)


@_on_a_day
def meal_walk_minutes(records: MealRecords, k: int) -> Found:
    """Minutes walked within an hour of the meal; unknown where the tracker was not worn."""
    meal = records.meals[k]
    return walked(records.days, meal.day, (meal.at, meal.at + WALK_WITHIN), meal.rows)


@_on_a_day
def meal_clock(records: MealRecords, k: int) -> Found:
    """Clock time in hours after midnight of the day's date (24.5 is half past twelve)."""
    meal = records.meals[k]
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


@_on_a_day
def meal_night_asleep_hours(records: MealRecords, k: int) -> Found:
    """Hours asleep in the night that opens the day of the meal."""
    return asleep_hours(records.days, records.meals[k].day)


@_on_a_day
def meal_stress_minutes_before(records: MealRecords, k: int) -> Found:
    """Stressed minutes of the three waking hours before the meal."""
    meal = records.meals[k]
    begin, _ = records.days.day(meal.day)
    window = (max(meal.at - STRESS_BEFORE, begin), meal.at)
    if window[1] <= window[0]:
        return unknown("eaten_at_waking", meal.rows)
    return stressed(records.days, meal.day, window, meal.rows)


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


def food_measure(words: str, _: MealRecords) -> MealMeasure:
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
    every = records.tags[records.tags["name"] == tag]
    first, dates = min(every["start"], default=NEVER), set(every["date"])
    own = every[every["date"] < 0]
    start, end = own["start"].to_numpy(), own["end"].to_numpy()

    def count(records: MealRecords, k: int) -> Found:
        meal = records.meals[k]
        if meal.at + TAG_AROUND < first:
            return unknown("before_first_use", meal.rows)
        near = (start <= meal.at + TAG_AROUND) & (end >= meal.at - TAG_AROUND)
        if not near.any() and meal.clock // DAY in dates:
            return unknown("tag_without_time", meal.rows)
        return Found(float(near.sum()), rows=(*own["row"][near], *meal.rows))

    return count


MEAL_COVERAGE = 0.70
"""Share of the two hours after a meal that readings must cover, as of a day."""


def _rows(client: Client, rules: RuleBook) -> Rows[MealRecords]:
    """Return the meals and snacks of a client.

    Besides the columns every table has: ``meal`` (breakfast, lunch, dinner, snack, or empty where
    neither the record nor the client's habit says), ``label``, ``carbs_g`` (NaN not told) and
    ``baseline`` (mg/dL before it). ``context`` says what is not ranked: ``cut_min`` (minutes to
    the next food where sooner than two hours), ``rise_until_cut``, ``peak_min`` and ``food`` (the
    label with words that mean the same under one).
    """
    records = meal_records(client, rules)
    meals, days, trace = records.meals, records.days.days, records.days.trace
    after = after_meals(trace, meals)
    clock = np.array([meal.clock for meal in meals], dtype=np.int64)
    day = np.array([meal.day for meal in meals], dtype=np.int64)
    outcomes = outcomes_after(after, rules.outcomes_of("meal"), client.settings.range[1])
    known = np.where(np.abs(after.baseline) < BEYOND, after.baseline, nan)
    return Rows(
        records=records,
        names=tuple(meal.name for meal in meals),
        number=np.where(day < 0, clock // DAY, np.append(days.number, 0)[day]),
        start=clock,
        end=clock + WINDOW_MIN * 60,
        sensor=[_sensor(trace, meal.at) for meal in meals],
        coverage=after.coverage,
        left_out=_left_out(client, rules, records, after),
        more={
            "meal": np.array([meal.kind for meal in meals], dtype=object),
            "label": np.array([meal.label for meal in meals], dtype=object),
            "carbs_g": np.array([meal.occasion.carbs for meal in meals], dtype=np.float64),
            "baseline": known,
        },
        outcomes=outcomes,
        by_clock=outcomes,
        context=_context(after) | {"food": [meal.food for meal in meals]},
        noted={"food": records.foods, "tag": records.days.tags.habits},
    )


def _left_out(
    client: Client, rules: RuleBook, records: MealRecords, after: After
) -> list[Message | None]:
    told = told_left_out(client, records.days, rules)
    nights = sorted((night.start, night.end) for night in records.days.nights.by_day.values())
    starts = np.array([start for start, _ in nights], dtype=np.int64)
    why: list[Message | None] = []
    for meal, coverage in zip(records.meals, after.coverage.tolist(), strict=True):
        night = int(np.searchsorted(starts, meal.at, side="left")) - 1
        if meal.day < 0:
            why.append(NO_DAY)
        elif told[meal.day] is not None:
            why.append(told[meal.day])
        elif night >= 0 and meal.at < nights[night][1]:
            why.append(because("logged_while_asleep"))
        elif coverage < MEAL_COVERAGE:
            share, need = percent(coverage), percent(MEAL_COVERAGE)
            why.append(because("readings_after_meal", share=share, need=need))
        else:
            why.append(None)
    return why


def _sensor(trace: Trace, at: int) -> str:
    place = int(np.searchsorted(trace.at, at, side="left"))
    if place >= trace.at.size or trace.at[place] > at + 2 * HOUR:
        return ""
    return trace.sensors[int(trace.sensor[place])]


def _context(after: After) -> dict[str, Floats]:
    trace, window = after.window.trace, after.window
    peaks = []
    for k, (low, high) in enumerate(window.places):
        minutes = (trace.at[low:high] - window.start[k]) / 60
        seen = trace.smooth[low:high][minutes <= after.cut_min[k]]
        known = seen.size and abs(after.baseline[k]) < BEYOND
        peak = int(seen.argmax()) if known else 0
        peaks.append((seen[peak], minutes[peak]) if known else (nan, nan))
    highest, at = np.array(peaks, dtype=np.float64).reshape(-1, 2).T
    return {
        "cut_min": np.where(np.isfinite(after.cut_min), after.cut_min, nan),
        "rise_until_cut": highest - after.baseline,
        "peak_min": at,
    }


MEALS = UnitSpecification("meal", _rows, MEASURES, {"food": food_measure, "tag": tag_measure})
