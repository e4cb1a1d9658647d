"""The numbers behind the eating factors. What is not logged is unknown, never "no"."""

from __future__ import annotations

from math import isnan, nan

from miner.core.messages import Message
from miner.tables.clockwork import HOUR
from miner.tables.measures import DayRecords
from miner.tables.found import Found, because, unknown
from miner.tables.occasions import Occasion

FEWEST_OCCASIONS = 2
AFTER_DINNER = HOUR
SNACK_CARBS_G = 15
SNACK_PROTEIN_G = 5
LATE_FIRST_FOOD_H = 3
LATER_OCCASIONS = 2
NO_DINNER = because("no_meal_logged", meal="dinner")
NOT_TOLD = because("not_reported")


def carbs_grams(records: DayRecords, k: int) -> Found:
    """Grams of carbohydrate of the day; where a meal does not tell, the rest is the least."""
    items = records.eaten[k].occasions
    rows = _rows(items)
    if why := _too_few(items):
        return unknown(why, rows)
    if records.eaten[k].not_told or any(isnan(item.carbs) for item in items):
        told = sum(item.carbs_told for item in items)
        return unknown("day_carbs_not_told", rows, floor=told)
    return Found(sum(item.carbs for item in items), rows=rows)


def dinner_carbs_grams(records: DayRecords, k: int) -> Found:
    """Grams of carbohydrate of the dinner; a noted level decides where grams are not told."""
    dinner = records.eaten[k].dinner
    if dinner is None:
        return unknown(NO_DINNER)
    if not isnan(dinner.carbs):
        return Found(dinner.carbs, rows=dinner.rows)
    decided = float(dinner.carbs_level == "high") if dinner.carbs_level else nan
    why = because("dinner_carbs_not_told")
    return Found(why=why, rows=dinner.rows, decided=decided, floor=dinner.carbs_told)


def carb_only_snacks(records: DayRecords, k: int) -> Found:
    """How many snacks had 15 g of carbohydrate or more and under 5 g of protein."""
    items = records.eaten[k].occasions
    if why := _too_few(items):
        return unknown(why, _rows(items))
    snacks = records.eaten[k].between_meals()
    told = [_carb_only(item) for item in snacks]
    yes = float(sum(answer is True for answer in told))
    rows = _rows(snacks) or _rows(items)
    if None in told or records.eaten[k].not_told:
        return unknown("snack_amounts_not_told", rows, floor=yes)
    return Found(yes, rows=rows)


def evening_snacks(records: DayRecords, k: int) -> Found:
    """How many snacks came after dinner: noted as one, or an hour or more after it."""
    eaten = records.eaten[k]
    if why := _too_few(eaten.occasions):
        return unknown(why, _rows(eaten.occasions))
    if eaten.dinner is None:
        return unknown(NO_DINNER, _rows(eaten.occasions))
    midnight, (wake, _) = records.midnight(k), records.day(k)
    later = [
        item
        for item in eaten.occasions
        if item.at > eaten.dinner.at
        and (
            item.called(item.clock - midnight, item.at - wake) == "snack"
            or item.at - eaten.dinner.at >= AFTER_DINNER
        )
    ]
    rows = eaten.dinner.rows + _rows(later)
    if any(at > eaten.dinner.at for at in eaten.not_told):
        return unknown(NOT_TOLD, rows, floor=float(len(later)))
    return Found(float(len(later)), rows=rows)


def dinner_clock(records: DayRecords, k: int) -> Found:
    """Clock time of dinner in hours after midnight of the day's date (24.5 is half past twelve)."""
    dinner = records.eaten[k].dinner
    if dinner is None:
        return unknown(NO_DINNER)
    return Found((dinner.clock - records.midnight(k)) / HOUR, rows=dinner.rows)


def hours_to_first_food(records: DayRecords, k: int) -> Found:
    """Hours from a recorded waking to the first food logged.

    Three hours or more count only where two later occasions are logged, so that the log of that
    day is not merely begun late.
    """
    items = records.eaten[k].occasions
    if why := _too_few(items):
        return unknown(why, _rows(items))
    if not records.days.woke[k]:
        return unknown(records.no_night[k] or "no_main_sleep", _rows(items[:1]))
    if any(at < items[0].at for at in records.eaten[k].not_told):
        return unknown(NOT_TOLD, _rows(items[:1]))
    hours = (items[0].at - int(records.days.start[k])) / HOUR
    if hours >= LATE_FIRST_FOOD_H and len(items) - 1 < LATER_OCCASIONS:
        later = len(items) - 1
        why = because("too_few_later_occasions", n=later, need=LATER_OCCASIONS)
        return unknown(why, _rows(items))
    return Found(hours, rows=records.days.night[k].sources + items[0].rows)  # type: ignore[union-attr]


def eating_window_hours(records: DayRecords, k: int) -> Found:
    """Hours from the first to the last occasion logged."""
    items = records.eaten[k].occasions
    if why := _too_few(items):
        return unknown(why, _rows(items))
    hours, rows = (items[-1].at - items[0].at) / HOUR, items[0].rows + items[-1].rows
    if any(not items[0].at <= at <= items[-1].at for at in records.eaten[k].not_told):
        return unknown(NOT_TOLD, rows, floor=hours)
    return Found(hours, rows=rows)


def _too_few(items: tuple[Occasion, ...]) -> Message | None:
    return None if len(items) >= FEWEST_OCCASIONS else too_few_occasions(len(items))


def too_few_occasions(logged: int) -> Message:
    """Say that too few eating occasions were logged on a day to tell what was not eaten."""
    return because("too_few_occasions", n=logged, need=FEWEST_OCCASIONS)


def _carb_only(item: Occasion) -> bool | None:
    """Return whether it was carbohydrate only, None where that is not told."""
    carbs: bool | None = None
    protein: bool | None = None
    if not isnan(item.carbs):
        carbs = item.carbs >= SNACK_CARBS_G
    elif item.carbs_level:
        carbs = item.carbs_level != "low"
    if not isnan(item.protein):
        protein = item.protein >= SNACK_PROTEIN_G
    elif item.protein_level:
        protein = item.protein_level != "low"
    if carbs is False or protein is True:
        return False
    return None if carbs is None or protein is None else True


def _rows(items: tuple[Occasion, ...] | list[Occasion]) -> tuple[tuple[str, int], ...]:
    return tuple(row for item in items for row in item.rows)
