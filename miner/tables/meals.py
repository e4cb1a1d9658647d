"""The meal table: one row an eating occasion, what followed it, and what was done around it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isnan, nan

import numpy as np
import pandas as pd

from miner.core.messages import Message
from miner.records.client import Client
from miner.rulebook import FactorRule, RuleBook
from miner.tables.cells import Columns, Found, because, cut, unknown
from miner.tables.columns import DAY, HOUR, iso_day, percent, stamps
from miner.tables.days import rest_days, told_left_out
from miner.tables.food.meals import (
    NEVER,
    WINDOW_MIN,
    After,
    Meal,
    MealMeasure,
    MealRecords,
    after_meals,
    meal_records,
    outcomes_after,
)
from miner.tables.glucose.outcomes import BEYOND, smoothed
from miner.tables.measures import (
    FEWEST_OCCASIONS,
    NOT_TOLD,
    SNACK_CARBS_G,
    SNACK_PROTEIN_G,
    WALK_WITHIN,
    asleep_hours,
    measure_named,
    stressed,
    too_few_occasions,
    walked,
    why_no_activity,
    why_no_stress,
)
from miner.tables.unit_table import UnitTable

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


MEAL_COVERAGE = 0.70
"""Share of the two hours after a meal that readings must cover, as of a day."""


def meal_table(client: Client, rules: RuleBook) -> UnitTable:
    """Return one row a meal or snack: outcomes, factors, and where each came from.

    Beside the columns every table has: ``meal`` (breakfast, lunch, dinner, snack, or empty where
    neither the record nor the client's habit tells), ``label``, ``carbs_g`` (NaN not told) and
    ``baseline`` (mg/dL before it). ``context`` tells what is not ranked: ``cut_min`` (minutes to
    the next food where sooner than two hours), ``rise_until_cut``, ``peak_min`` and ``food`` (the
    label with words that mean the same under one).

    Args:
        client: the records as read.
        rules: the rule books; their outcomes and factors of a meal become the columns.

    Raises:
        MinerError: the rule book asks for an outcome, window or measure that is not known.
    """
    return client.derived("meal table", rules, lambda: _meal_table(client, rules))


def _meal_table(client: Client, rules: RuleBook) -> UnitTable:
    records = meal_records(client, rules)
    trace = records.days.trace
    pieces = after_meals(trace, smoothed(trace), records.meals, client.settings.range[1])
    names = tuple(meal.name for meal in records.meals)
    why = _left_out(client, rules, records, pieces)
    outcomes = Columns(names, outcomes_after(pieces, rules.outcomes_of("meal")))
    factors = Columns(names, _factors(records, rules, [item is None for item in why]))
    frame = outcomes.frame()
    head = _head(client, records, pieces, why)
    return UnitTable(
        unit="meal",
        frame=pd.concat([head, frame, factors.frame("decided")], axis=1),
        outcomes=tuple(outcomes.cells),
        factors=tuple(factors.cells),
        measures=factors.frame(),
        by_clock=frame.copy(),
        reasons=outcomes.reasons() | factors.reasons("decided"),
        sources=outcomes.sources() | factors.sources(),
        context=_context(pieces, head.index).assign(food=[meal.food for meal in records.meals]),
        replaced=client.replaced,
    )


def meal_factor_rules(records: MealRecords, rules: RuleBook) -> dict[str, FactorRule]:
    """Return the rule of every factor column: the rule book's order, then foods, then tags."""
    own = rules.factors_of("meal")
    listed = {name: rule for name, rule in own.items() if "*" not in name}
    for kind, found in (("food", records.foods), ("tag", records.days.tags.habits)):
        if f"{kind}:*" in own:
            names = [f"{kind}:{words}" for words in found]
            listed |= {name: rules.factor(name, "meal") for name in names}
    return listed


def _factors(
    records: MealRecords, rules: RuleBook, usable: Sequence[bool]
) -> dict[str, list[Found]]:
    out = {}
    for name, rule in meal_factor_rules(records, rules).items():
        measure = _measure(name, rule, records)
        out[name] = cut([measure(records, k) for k in range(len(records.meals))], rule, usable)
    return out


def _measure(name: str, rule: FactorRule, records: MealRecords) -> MealMeasure:
    kind, _, words = name.partition(":")
    if kind == "food" and words:
        return food_measure(words)
    if kind == "tag" and words:
        return tag_measure(words, records)
    return measure_named(rule.measure, name, MEASURES)


def _left_out(
    client: Client, rules: RuleBook, records: MealRecords, pieces: Sequence[After]
) -> list[Message | None]:
    days = records.days
    told = told_left_out(client, days.trace, days.days, days.tags, rules.cautions)
    nights = sorted((night.start, night.end) for night in days.nights.by_day.values())
    starts = np.array([start for start, _ in nights], dtype=np.int64)
    why: list[Message | None] = []
    for meal, piece in zip(records.meals, pieces, strict=True):
        night = int(np.searchsorted(starts, meal.at, side="left")) - 1
        if meal.day < 0:
            why.append(because("no_readings_that_day"))
        elif told[meal.day] is not None:
            why.append(told[meal.day])
        elif night >= 0 and meal.at < nights[night][1]:
            why.append(because("logged_while_asleep"))
        elif piece.coverage < MEAL_COVERAGE:
            share, need = percent(piece.coverage), percent(MEAL_COVERAGE)
            why.append(because("readings_after_meal", share=share, need=need))
        else:
            why.append(None)
    return why


def _head(
    client: Client, records: MealRecords, pieces: Sequence[After], why: Sequence[Message | None]
) -> pd.DataFrame:
    meals, days = records.meals, records.days.days
    number = np.array(
        [days.number[meal.day] if meal.day >= 0 else meal.clock // DAY for meal in meals], np.int64
    )
    clock = np.array([meal.clock for meal in meals], dtype=np.int64)
    dates = [iso_day(day) for day in number]
    return pd.DataFrame(
        {
            "date": np.array(dates, dtype=object),
            "day_number": number,
            "start": stamps(clock),
            "end": stamps(clock + WINDOW_MIN * 60),
            "rest_day": np.array(rest_days(client, dates, number.tolist()), dtype=bool),
            "sensor": np.array([_sensor(records, meal) for meal in meals], dtype=object),
            "coverage": np.array([piece.coverage for piece in pieces], dtype=np.float64),
            "usable": np.array([item is None for item in why], dtype=bool),
            "left_out": [item or "" for item in why],
            "meal": np.array([meal.kind for meal in meals], dtype=object),
            "label": np.array([meal.label for meal in meals], dtype=object),
            "carbs_g": np.array([meal.occasion.carbs for meal in meals], dtype=np.float64),
            "baseline": np.array([_known(piece.baseline) for piece in pieces], dtype=np.float64),
        },
        index=pd.Index([meal.name for meal in meals], dtype=object, name="unit"),
    )


def _sensor(records: MealRecords, meal: Meal) -> str:
    trace = records.days.trace
    place = int(np.searchsorted(trace.at, meal.at, side="left"))
    if place >= trace.at.size or trace.at[place] > meal.at + 2 * HOUR:
        return ""
    return trace.sensors[int(trace.sensor[place])]


def _known(baseline: float) -> float:
    return baseline if abs(baseline) < BEYOND else np.nan


def _context(pieces: Sequence[After], index: pd.Index) -> pd.DataFrame:
    rows = []
    for piece in pieces:
        seen = piece.smooth[piece.smooth_at <= piece.cut_min]
        known = seen.size and abs(piece.baseline) < BEYOND
        peak = int(seen.argmax()) if seen.size else 0
        rows.append(
            {
                "cut_min": piece.cut_min if np.isfinite(piece.cut_min) else np.nan,
                "rise_until_cut": float(seen[peak]) - piece.baseline if known else np.nan,
                "peak_min": float(piece.smooth_at[peak]) if known else np.nan,
            }
        )
    columns = ["cut_min", "rise_until_cut", "peak_min"]
    return pd.DataFrame(rows, index=index, columns=columns, dtype=float)
