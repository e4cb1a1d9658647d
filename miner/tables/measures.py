"""The numbers behind the factors of a day, from a client's streams cut into days."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import wraps
from math import isnan, nan

import numpy as np

from miner.core.messages import Message
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.tables.cells import Found, because, unknown
from miner.tables.columns import DAY, HOUR, Source, covered, from_usual, usual_clock
from miner.tables.food.eating import MAIN, Eaten, Food, Occasion, eaten_by_day, food_of
from miner.tables.glucose.trace import Trace, trace_of
from miner.tables.movement.tracker import (
    LEAST_WORN,
    Movement,
    Spans,
    Stress,
    Tracker,
    Unfinished,
    movement_of,
    stress_of,
    tracker_of,
    unfinished_of,
)
from miner.tables.sleep.nights import Days, Night, Nights, days_of, nights_of, why_no_night
from miner.tables.tag_days import Tags, tags_of


@dataclass(frozen=True, slots=True)
class DayRecords:
    """One client's streams, cut into biological days.

    Attributes:
        no_night: why the main sleep that opens each day is not known, None where it is.
        food: the meal log.
        eaten: the eating occasions of each day.
        unfinished: the records left out because their end cannot be used.
    """

    trace: Trace
    nights: Nights
    days: Days
    no_night: tuple[Message | None, ...]
    food: Food
    eaten: tuple[Eaten, ...]
    movement: Movement
    stress: Stress
    tracker: Tracker
    unfinished: Unfinished
    tags: Tags

    def day(self, k: int) -> tuple[int, int]:
        """Return the instants between which a biological day is."""
        return int(self.days.start[k]), int(self.days.end[k])

    def waking_day(self, k: int) -> tuple[int, int]:
        """Return the instants of waking and of falling asleep."""
        return int(self.days.start[k]), int(self.days.asleep[k])

    def midnight(self, k: int) -> int:
        """Return the wall clock, in seconds, at which the date of a day begins."""
        return int(self.days.number[k]) * DAY

    def instant(self, k: int, clock: int) -> int:
        """Return the instant of a time of day, in seconds after midnight, on the date of a day."""
        return int(self.trace.zones.instant(self.midnight(k) + clock)[0])


Measure = Callable[[DayRecords, int], Found]


def records_of(client: Client, rules: RuleBook) -> DayRecords:
    """Cut a client's streams into biological days."""
    return client.derived("day records", rules, lambda: _records_of(client, rules))


def takes_medicine(client: Client, rules: RuleBook) -> bool:
    """Say whether the client takes what moves glucose: told at the intake, or by a tag."""
    asked, told = rules.cautions.intake, client.settings.intake
    if any(question.medicine and told.get(name) == "yes" for name, question in asked.items()):
        return True
    return bool(records_of(client, rules).tags.kinds["glucose_medicine"])


def _records_of(client: Client, rules: RuleBook) -> DayRecords:
    trace, nights, food = trace_of(client), nights_of(client), food_of(client, rules)
    days = days_of(trace, nights)
    return DayRecords(
        trace=trace,
        nights=nights,
        days=days,
        no_night=why_no_night(days, nights),
        food=food,
        eaten=tuple(eaten_by_day(food, days)),
        movement=movement_of(client),
        stress=stress_of(client),
        tracker=tracker_of(client),
        unfinished=unfinished_of(client),
        tags=tags_of(client, days, rules.cautions),
    )


FEWEST_NIGHTS_FOR_USUAL = 8


def _of_night(measure: Callable[[DayRecords, Night], Found]) -> Measure:
    """Return a measure of the main sleep that opens a day, unknown where that is not known."""

    @wraps(measure)
    def found(records: DayRecords, k: int) -> Found:
        night = records.days.night[k]
        if night is None:
            return unknown(records.no_night[k] or "no_main_sleep")
        return measure(records, night)

    return found


@_of_night
def asleep_hours(_: DayRecords, night: Night) -> Found:
    """Hours asleep, or in bed where the tracker does not tell time asleep."""
    return Found(night.asleep_min / 60, rows=night.sources)


@_of_night
def awake_share(_: DayRecords, night: Night) -> Found:
    """Minutes awake over minutes from falling asleep to waking."""
    if isnan(night.awake_min) or night.span_min <= 0:
        return unknown("no_time_awake", night.sources)
    return Found(night.awake_min / night.span_min, rows=night.sources)


@_of_night
def deep_share(_: DayRecords, night: Night) -> Found:
    """Minutes of deep sleep over minutes asleep."""
    if isnan(night.deep_min) or not night.asleep_known or night.asleep_min <= 0:
        return unknown("no_deep_sleep", night.sources)
    return Found(night.deep_min / night.asleep_min, rows=night.sources)


@_of_night
def midpoint_later_than_usual(records: DayRecords, night: Night) -> Found:
    """Minutes by which the midpoint of sleep is later than the client's median midpoint."""
    middles = np.array([each.middle_clock for each in records.nights.by_day.values()], np.int64)
    if middles.size < FEWEST_NIGHTS_FOR_USUAL:
        why = because("too_few_nights", n=middles.size, need=FEWEST_NIGHTS_FOR_USUAL)
        return unknown(why, night.sources)
    later = from_usual(night.middle_clock, usual_clock(middles) or 0)
    return Found(float(later) / 60, rows=night.sources)


WALK_WITHIN = HOUR


def active_minutes(records: DayRecords, k: int) -> Found:
    """Minutes of walking, moderate or vigorous activity from waking to falling asleep."""
    window = records.waking_day(k)
    why = why_silent("activity", records, k, window)
    if why:
        return unknown(why)
    active = records.movement.active
    began = records.unfinished.active
    return at_least("activity", began, window, active.minutes(*window), active.rows(*window))


def vigorous_minutes(records: DayRecords, k: int) -> Found:
    """Minutes of vigorous activity; unknown where exercise without an intensity could change it."""
    window = records.waking_day(k)
    why = why_silent("activity", records, k, window)
    if why:
        return unknown(why)
    moves = records.movement
    if not moves.rated:
        return unknown("no_intensity")
    minutes, rows = moves.vigorous.minutes(*window), moves.vigorous.rows(*window)
    if moves.unrated.touch(*window):
        return unknown("exercise_without_intensity", rows, floor=minutes)
    return at_least("activity", records.unfinished.vigorous, window, minutes, rows)


def steps(records: DayRecords, k: int) -> Found:
    """Steps of the day, where it has blocks with steps or bouts that cover half of its waking."""
    day, moves = records.day(k), records.movement
    why = why_silent("activity", records, k, day)
    if why:
        return unknown(why)
    counted, rows = moves.once.within(*day)
    by_bout = isnan(moves.blocks.within(*day)[0])
    if records.unfinished.steps.touch(*day):
        return unknown("steps_without_end", rows, floor=counted)
    if isnan(counted):
        return unknown("no_steps_noted")
    awake = records.waking_day(k)
    if by_bout and covered(moves.counted.minutes(*awake), awake[1] - awake[0]) < LEAST_WORN:
        return unknown("steps_of_walks_only", rows, floor=counted)
    return Found(counted, rows=rows)


def at_least(
    stream: str, doubt: Spans, window: tuple[int, int], minutes: float, rows: tuple[Source, ...]
) -> Found:
    """Return the minutes recorded in a window: no more than the least where more may be.

    Args:
        stream: what was recorded, for the reason.
        doubt: when something may have gone on.
        window: from when to when, instants.
        minutes: recorded with a start and an end.
        rows: where they are.
    """
    if not doubt.touch(*window):
        return Found(minutes, rows=rows)
    kind = "end_or_level_not_usable" if stream == "stress" else "end_not_usable"
    return unknown(because(kind, stream=stream), rows, floor=minutes)


def walk_after(meal: str) -> Measure:
    """Return the measure of the minutes walked within an hour of a main meal."""

    def found(records: DayRecords, k: int) -> Found:
        item = records.eaten[k].main.get(meal)
        if item is None:
            return unknown(because("no_meal_logged", meal=meal))
        return walked(records, k, (item.at, item.at + WALK_WITHIN), item.rows)

    found.__name__ = f"walk_after_{meal}_minutes"
    return found


def walked(records: DayRecords, k: int, window: tuple[int, int], rows: tuple[Source, ...]) -> Found:
    """Return the minutes walked in a window of a day, the rows behind them after those given."""
    if why := why_silent("activity", records, k, window):
        return unknown(why, rows)
    walking, began = records.movement.walking, records.unfinished.walking
    found = rows + walking.rows(*window)
    return at_least("activity", began, window, walking.minutes(*window), found)


def why_silent(stream: str, records: DayRecords, k: int, window: tuple[int, int]) -> Message | None:
    """Return why a stream of the tracker says nothing about a window of a day, None if it does."""
    why = records.tracker.why_unknown(stream, window, records.day(k))
    return why or (None if stream in records.tracker.worn else why_tracker_off(records, k))


def why_tracker_off(records: DayRecords, k: int) -> Message | None:
    """Say that no step was counted on a day, where steps are counted; None where any was."""
    day, moves = records.day(k), records.movement
    if records.unfinished.steps.touch(*day):
        return None
    counted = [
        steps
        for steps in (moves.blocks.within(*day)[0], moves.bouts.within(*day)[0])
        if not isnan(steps)
    ]
    off = not any(counted) if counted else moves.counts_steps
    return because("no_step_counted") if off else None


NOON = 12 * HOUR
EVENING = 18 * HOUR


def stress_minutes(records: DayRecords, k: int) -> Found:
    """Stressed minutes from waking to falling asleep."""
    return _within(records, k, records.waking_day(k))


def morning_stress_minutes(records: DayRecords, k: int) -> Found:
    """Stressed minutes from waking to 12:00."""
    wake, asleep = records.waking_day(k)
    return _within(records, k, (wake, min(records.instant(k, NOON), asleep)))


def evening_stress_minutes(records: DayRecords, k: int) -> Found:
    """Stressed minutes from 18:00 to falling asleep."""
    wake, asleep = records.waking_day(k)
    return _within(records, k, (max(records.instant(k, EVENING), wake), asleep))


def _within(records: DayRecords, k: int, window: tuple[int, int]) -> Found:
    if window[1] <= window[0]:
        return unknown("asleep_then")
    return stressed(records, k, window)


def stressed(
    records: DayRecords, k: int, window: tuple[int, int], rows: tuple[Source, ...] = ()
) -> Found:
    """Return the stressed minutes of a window of a day, the rows behind them after those given."""
    if why := why_silent("stress", records, k, window):
        return unknown(why, rows)
    stress = records.stress
    minutes, found = stress.high.minutes(*window), rows + stress.high.rows(*window)
    doubt = stress.doubtful if stress.doubtful.touch(*window) else records.unfinished.stress
    return at_least("stress", doubt, window, minutes, found)


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
    dinner = records.eaten[k].main.get("dinner")
    if dinner is None:
        return unknown(NO_DINNER)
    return carbs_of(dinner, "dinner_carbs_not_told")


def carbs_of(item: Occasion, not_told: str) -> Found:
    """Return the grams of carbohydrate of an occasion, decided by its level where not told."""
    if not isnan(item.carbs):
        return Found(item.carbs, rows=item.rows)
    decided = float(item.carbs_level == "high") if item.carbs_level else nan
    return Found(why=because(not_told), rows=item.rows, decided=decided, floor=item.carbs_told)


def carb_only_snacks(records: DayRecords, k: int) -> Found:
    """How many snacks had 15 g of carbohydrate or more and under 5 g of protein."""
    items = records.eaten[k].occasions
    if why := _too_few(items):
        return unknown(why, _rows(items))
    snacks = records.eaten[k].between_meals()
    told = [carb_only(item) for item in snacks]
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
    dinner = eaten.main.get("dinner")
    if dinner is None:
        return unknown(NO_DINNER, _rows(eaten.occasions))
    midnight, (wake, _) = records.midnight(k), records.day(k)
    later = [
        item
        for item in eaten.occasions
        if item.at > dinner.at
        and (
            item.called(item.clock - midnight, item.at - wake) == "snack"
            or item.at - dinner.at >= AFTER_DINNER
        )
    ]
    rows = dinner.rows + _rows(later)
    if any(at > dinner.at for at in eaten.not_told):
        return unknown(NOT_TOLD, rows, floor=float(len(later)))
    return Found(float(len(later)), rows=rows)


def dinner_clock(records: DayRecords, k: int) -> Found:
    """Clock time of dinner in hours after midnight of the day's date (24.5 is half past twelve)."""
    dinner = records.eaten[k].main.get("dinner")
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


def carb_only(item: Occasion) -> bool | None:
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


def tagged(tag: str, _: DayRecords) -> Measure:
    """Return the measure of one tag.

    Before its first use a tag is unknown. After it a day without is "no" only where something,
    a meal or any tag, was logged that day.
    """

    def count(records: DayRecords, k: int) -> Found:
        by_day = records.tags.rows[tag]
        if k in by_day:
            return Found(float(len(by_day[k])), rows=by_day[k])
        if k < min(by_day):
            return unknown("before_first_use")
        logged = records.eaten[k].noted or k in records.tags.noted
        return Found(0.0) if logged else unknown("nothing_logged")

    return count


MEASURES: Mapping[str, Measure] = {
    function.__name__: function
    for function in (
        asleep_hours,
        awake_share,
        deep_share,
        midpoint_later_than_usual,
        stress_minutes,
        morning_stress_minutes,
        evening_stress_minutes,
        active_minutes,
        vigorous_minutes,
        steps,
        *map(walk_after, MAIN),
        carbs_grams,
        dinner_carbs_grams,
        carb_only_snacks,
        evening_snacks,
        dinner_clock,
        hours_to_first_food,
        eating_window_hours,
    )
}
