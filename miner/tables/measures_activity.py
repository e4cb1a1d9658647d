"""The numbers behind the movement factors: minutes, steps, and walks after meals."""

from __future__ import annotations

from math import isnan

from miner.core.messages import Message
from miner.tables.clockwork import HOUR
from miner.tables.columns import Source
from miner.tables.measures import DayRecords
from miner.tables.found import Found, because, unknown
from miner.tables.glucose.outcomes import covered
from miner.tables.occasions import Occasion
from miner.tables.tracker import LEAST_WORN
from miner.tables.unfinished import at_least

WALK_WITHIN = HOUR


def active_minutes(records: DayRecords, k: int) -> Found:
    """Minutes of walking, moderate or vigorous activity from waking to falling asleep."""
    window = records.waking_day(k)
    why = why_no_activity(records, k, window)
    if why:
        return unknown(why)
    active = records.movement.active
    began = records.unfinished.active
    return at_least("activity", began, window, active.minutes(*window), active.rows(*window))


def vigorous_minutes(records: DayRecords, k: int) -> Found:
    """Minutes of vigorous activity; unknown where exercise without an intensity could change it."""
    window = records.waking_day(k)
    why = why_no_activity(records, k, window)
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
    why = why_no_activity(records, k, day)
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


def walk_after_breakfast_minutes(records: DayRecords, k: int) -> Found:
    """Minutes walked within an hour of breakfast."""
    return _walked_after(records, k, records.eaten[k].breakfast, "breakfast")


def walk_after_lunch_minutes(records: DayRecords, k: int) -> Found:
    """Minutes walked within an hour of lunch."""
    return _walked_after(records, k, records.eaten[k].lunch, "lunch")


def walk_after_dinner_minutes(records: DayRecords, k: int) -> Found:
    """Minutes walked within an hour of dinner."""
    return _walked_after(records, k, records.eaten[k].dinner, "dinner")


def _walked_after(records: DayRecords, k: int, meal: Occasion | None, name: str) -> Found:
    if meal is None:
        return unknown(because("no_meal_logged", meal=name))
    window = (meal.at, meal.at + WALK_WITHIN)
    why = why_no_activity(records, k, window)
    if why:
        return unknown(why, meal.rows)
    return walked(records, window, meal.rows)


def walked(records: DayRecords, window: tuple[int, int], rows: tuple[Source, ...]) -> Found:
    """Return the minutes walked in a window, with the rows behind them after those given."""
    walking = records.movement.walking
    found = rows + walking.rows(*window)
    began = records.unfinished.walking
    return at_least("activity", began, window, walking.minutes(*window), found)


def why_no_activity(records: DayRecords, k: int, window: tuple[int, int]) -> Message | None:
    """Return why the activity records tell nothing about a window of a day, None if they do."""
    why = records.tracker.why_unknown("activity", window, records.day(k))
    return why or (None if "activity" in records.tracker.worn else why_tracker_off(records, k))


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
