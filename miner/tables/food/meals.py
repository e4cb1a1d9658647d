"""Meals with what is around them, what each is called, and the two hours after it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from math import isnan
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from miner.core.messages import Message, MinerError, closest
from miner.records.client import Client
from miner.tables.cells import Found, because, unknown
from miner.tables.columns import (
    DAY,
    HOUR,
    Floats,
    Source,
    Times,
    covered,
    from_usual,
    origins,
    percent,
    seconds,
    stamps,
    usual_clock,
    words,
)
from miner.tables.food.eating import (
    MAIN,
    ONE_OCCASION_MIN,
    FoodWords,
    NoFood,
    Occasion,
    parts_of,
    said,
)
from miner.tables.food.foods import foods_of, merged, one_name, terms
from miner.tables.glucose.rises import incremental_area
from miner.tables.glucose.trace import BEYOND, Trace, Windows, beyond
from miner.tables.measures import DayRecords, records_of

if TYPE_CHECKING:
    from miner.rulebook import OutcomeRule, RuleBook

DAWN = 4 * HOUR
"""Until then by the clock it is still the evening before."""

NAMED_OFTEN_ENOUGH = 5
NEAR = 90 * 60
APART = 150 * 60
AROUND = 45 * 60
STEP = 15 * 60
SHARE_OF_DAYS = 0.4


def meal_names(
    occasions: Sequence[Occasion], days: Sequence[int], usual_wake: int
) -> tuple[str, ...]:
    """Return breakfast, lunch, dinner or snack for each occasion, empty where it is not told.

    What the log says comes first: the type, else a word of the label that fits the hour. An
    occasion without a name is the main meal whose usual time is within 90 minutes, the largest
    (else the nearest) of several, where none of that day is named so; any other is a snack. Usual
    times are those of the meals the client named, five or more of each, and the hours of the day
    around which this client ate on most days where a meal is not named so often. Without either,
    nothing is said: the clock alone names no meal.

    Args:
        occasions: in time order.
        days: the day each belongs to.
        usual_wake: the client's median waking, seconds after midnight.
    """
    told = [
        item.called((item.clock - DAWN) % DAY + DAWN, (item.clock - usual_wake) % DAY)
        for item in occasions
    ]
    habit = _habit(occasions, told, days, usual_wake)
    if not habit:
        return tuple(told)
    names = list(told)
    wanted: dict[tuple[int, str], list[tuple[float, int, int]]] = {}
    for place, item in enumerate(occasions):
        if told[place]:
            continue
        names[place] = "snack"
        far = {each: abs(int(from_usual(item.clock % DAY, at))) for each, at in habit.items()}
        name, away = min(far.items(), key=lambda pair: (pair[1], MAIN.index(pair[0])))
        if away <= NEAR:
            size = 0.0 if isnan(item.carbs) else -item.carbs
            wanted.setdefault((days[place], name), []).append((size, away, place))
    taken = {(day, name) for day, name in zip(days, told, strict=True) if name}
    for (day, name), choices in wanted.items():
        if (day, name) not in taken:
            names[min(choices)[2]] = name
    return tuple(names)


def _habit(
    occasions: Sequence[Occasion], told: Sequence[str], days: Sequence[int], usual_wake: int
) -> Mapping[str, int]:
    """Return the client's usual times of the main meals, in seconds after midnight."""
    clock = np.array([item.clock % DAY for item in occasions], np.int64)
    named = {name: clock[[each == name for each in told]] for name in MAIN}
    usual = {
        name: at
        for name, clocks in named.items()
        if clocks.size >= NAMED_OFTEN_ENOUGH and (at := usual_clock(clocks)) is not None
    }
    times = _usual_times(occasions, days)
    if len(usual) >= 2:
        return usual | _missing(usual, times, usual_wake)
    names = _in_order([(at - usual_wake) % DAY for at in times])
    return (dict(zip(names, times, strict=True)) if names else {}) | usual


def _missing(usual: dict[str, int], times: Sequence[int], usual_wake: int) -> dict[str, int]:
    """Return the one main meal that is not named, where food comes back at a time that fits it.

    It fits where it is 150 minutes or more from the meals that are named, and in its place in
    the order of the day after waking.
    """
    for name in (each for each in MAIN if each not in usual):
        for at in times:
            apart = all(abs(int(from_usual(at, other))) >= APART for other in usual.values())
            late = {each: (when - usual_wake) % DAY for each, when in (usual | {name: at}).items()}
            if apart and sorted(late, key=late.__getitem__) == list(MAIN):
                return {name: at}
    return {}


def _usual_times(occasions: Sequence[Occasion], days: Sequence[int]) -> list[int]:
    """Return up to three times of day around which food was logged on most logged days."""
    if not occasions:
        return []
    clock = np.array([item.clock % DAY for item in occasions], np.int64)
    day = np.asarray(days, np.int64)
    centre = np.arange(0, DAY, STEP)
    near = np.abs(from_usual(clock[:, None], 0) - from_usual(centre, 0)[None, :])
    near = np.minimum(near, DAY - near) <= AROUND
    counts = np.array([np.unique(day[near[:, k]]).size for k in range(centre.size)])
    least = max(NAMED_OFTEN_ENOUGH, SHARE_OF_DAYS * np.unique(day).size)
    found: list[int] = []
    while len(found) < len(MAIN) and counts.max(initial=0) >= least:
        best = int(counts.argmax())
        usual = usual_clock(clock[near[:, best]])
        found.append(int(centre[best]) if usual is None else usual)
        away = np.abs(from_usual(centre, int(centre[best])))
        counts[away < APART] = 0
    return found


def _in_order(after_waking: list[int]) -> list[str]:
    """Return the meals that usual times so long after waking stand for."""
    if len(after_waking) == len(MAIN):
        order = np.argsort(after_waking)
        names = dict(zip(order.tolist(), MAIN, strict=True))
        return [names[k] for k in range(len(MAIN))]
    names_found = [
        "breakfast" if late < 3 * HOUR else "lunch" if late < 8 * HOUR else "dinner"
        for late in after_waking
    ]
    return names_found if len(set(names_found)) == len(names_found) else []


NEVER = 1 << 60


@dataclass(frozen=True, slots=True)
class Meal:
    """One eating occasion: whatever was logged within a quarter of an hour.

    Attributes:
        name: its start on the wall clock, to the minute; an offset is added where that repeats.
        kind: breakfast, lunch, dinner, snack, or empty where it is not told.
        day: place of the biological day it falls in, -1 outside the readings.
        label: what was noted, as written.
        food: the same, with words that mean the same under one.
        eaten: the words of its labels; empty where a row does not say what was eaten.
        last_food: instant of the occasion before.
        doubtful: whether something that is not reported may have been eaten since.
        next_food: instant of the next that was eaten, or taken with carbohydrate, or may have been.
    """

    name: str
    at: int
    clock: int
    kind: str
    day: int
    label: str
    food: str
    eaten: frozenset[str]
    last_food: int
    doubtful: bool
    next_food: int
    occasion: Occasion

    @property
    def rows(self) -> tuple[Source, ...]:
        """The rows of the meal log it is made of."""
        return self.occasion.rows


@dataclass(frozen=True, slots=True)
class MealRecords:
    """One client's meals, next to the streams cut into days.

    Attributes:
        foods: words that come back often enough to be looked at.
        tags: those that may be habits, by start: name, start, end (instants), row (file, row), and
            the date of each that is noted without a time of day, in days since 1970-01-01, else -1.
    """

    days: DayRecords
    meals: tuple[Meal, ...]
    foods: tuple[str, ...]
    tags: pd.DataFrame


MealMeasure = Callable[[MealRecords, int], Found]


def meal_records(client: Client, rules: RuleBook) -> MealRecords:
    """Put a client's meals next to the streams cut into days."""
    records = records_of(client, rules)
    meals = _meals(client, records, FoodWords.of(rules.cautions))
    dates = [meal.clock // DAY if meal.day < 0 else meal.day for meal in meals]
    least = rules.guardrails.label_repeats_for_food_factor
    eaten, synonyms = [meal.eaten for meal in meals], client.settings.food_synonyms
    foods = foods_of(eaten, dates, least, rules.cautions, synonyms)
    noted = client.used("tags")
    tags = pd.DataFrame(
        {
            "name": words(noted["tag"]),
            "start": seconds(noted["start"]),
            "end": seconds(noted["end"]),
            "row": pd.Series(origins(noted), dtype=object),
            "date": seconds(noted["start_clock"]) // DAY,
        }
    )
    tags["date"] = tags["date"].where(noted["date_only"].to_numpy(dtype=bool), -1)
    return MealRecords(records, meals, foods, tags.sort_values("start", kind="stable"))


def _meals(client: Client, records: DayRecords, no_food: FoodWords) -> tuple[Meal, ...]:
    frame, occasions = client.used("meals"), records.food.occasions
    noted = frame["label"].fillna("").astype(str).tolist()
    texts = dict(zip(origins(frame), noted, strict=True))
    foods = merged(noted, client.settings.food_synonyms)
    food_texts = dict(zip(origins(frame), foods, strict=True))
    in_order = sorted(zip(seconds(frame["time"]).tolist(), foods, strict=True))
    names = one_name([text for _, text in in_order])

    @cache
    def words_of(label: str) -> frozenset[str]:
        parts = [part for part in parts_of(label) if not no_food.is_none(part)]
        return terms(", ".join(parts), names)

    at = np.array([item.at for item in occasions], dtype=np.int64)
    clock = np.array([item.clock for item in occasions], dtype=np.int64)
    days = records.days.of_eating(at)
    dates = np.where(days >= 0, days, clock // DAY - (1 << 40))
    kinds = meal_names(occasions, dates.tolist(), records.days.usual_wake)
    before = np.concatenate([[-NEVER], at])[: at.size]
    taken = np.append(np.array(records.food.taken(), dtype=np.int64), NEVER)
    after = taken[np.searchsorted(taken, at + ONE_OCCASION_MIN * 60, side="right")]
    not_told = [e.at for e in records.food.no_food if e.why is NoFood.NOT_REPORTED]
    doubtful = np.searchsorted(not_told, before) < np.searchsorted(not_told, at)
    untimed = records.days.of(np.array([x for x, _ in records.food.untimed], dtype=np.int64))
    doubtful |= (days >= 0) & np.isin(days, untimed)
    found = []
    for k, (item, name) in enumerate(zip(occasions, _names(at, clock), strict=True)):
        labels = [texts[row] for row in item.rows]
        told = all(said(label) for label in labels)
        words = [food_texts[row] for row in item.rows]
        found.append(
            Meal(
                name=name,
                at=item.at,
                clock=item.clock,
                kind=kinds[k],
                day=int(days[k]),
                label=", ".join(dict.fromkeys(filter(None, labels))),
                food=", ".join(dict.fromkeys(filter(None, words))),
                eaten=frozenset().union(*map(words_of, words)) if told else frozenset(),
                last_food=int(before[k]),
                doubtful=bool(doubtful[k]),
                next_food=int(after[k]),
                occasion=item,
            )
        )
    return tuple(found)


def _names(at: Times, clock: Times) -> list[str]:
    texts = pd.Series(stamps(clock).astype("datetime64[m]").astype(str))
    again = texts.duplicated(keep=False)
    offsets = (clock - at).tolist()
    return [
        text + (_offset(offset) if twice else "")
        for text, twice, offset in zip(texts, again, offsets, strict=True)
    ]


def _offset(offset: int) -> str:
    hours, minutes = divmod(abs(offset) // 60, 60)
    return f"{'-' if offset < 0 else '+'}{hours:02d}:{minutes:02d}"


WINDOW_MIN = 120
BASELINE_FROM, BASELINE_TO = -15 * 60, 5 * 60
BASELINE_COVERAGE = 0.5
LONGEST_GAP_MIN = 20


@dataclass(frozen=True, slots=True)
class After:
    """The readings of the two hours after each meal.

    Attributes:
        window: those two hours, both ends included.
        baseline: mg/dL, NaN where it is not known, a thousand million beyond the sensor.
        coverage: share of the two hours that readings cover.
        cut_min: minutes to the next food, where that is sooner than two hours, else infinite.
        sensors: how many sensors the readings from the baseline on come from.
        rows: the first and the last of these readings.
    """

    window: Windows
    baseline: Floats
    coverage: Floats
    cut_min: Floats
    sensors: list[int]
    rows: list[tuple[Source, ...]]

    def why_unknown(self, k: int, coverage: float) -> Message | None:
        """Return why nothing can be read after a meal, None where it can."""
        cut = np.isfinite(self.cut_min[k])
        if self.coverage[k] < coverage and not cut:
            share, need = percent(self.coverage[k]), percent(coverage)
            return because("readings_after_meal", share=share, need=need)
        if cut:
            return because("next_food_came", minutes=float(self.cut_min[k]), window=WINDOW_MIN)
        return because("sensor_changed") if self.sensors[k] > 1 else None


def after_meals(trace: Trace, meals: Sequence[Meal]) -> After:
    """Return the readings after each meal, in time order."""
    at = np.array([meal.at for meal in meals], dtype=np.int64)
    until = at + WINDOW_MIN * 60
    before, window = (
        Windows.over(trace, at + BASELINE_FROM, at + BASELINE_TO + 1),
        Windows.over(trace, at, until + 1),
    )
    counted = Windows.over(trace, at, until).sums(trace.minutes).tolist()
    cut = np.array([(meal.next_food - meal.at) / 60 for meal in meals])
    whole = list(zip(before.low.tolist(), window.high.tolist(), strict=True))
    return After(
        window=window,
        baseline=_baselines(before),
        coverage=np.array([covered(minutes, WINDOW_MIN * 60) for minutes in counted]),
        cut_min=np.where(cut < WINDOW_MIN, cut, np.inf),
        sensors=[np.unique(trace.sensor[low:high]).size for low, high in whole],
        rows=[trace.ends(low, high) for low, high in whole],
    )


def _baselines(window: Windows) -> Floats:
    ordered = np.clip(window.trace.ordered, -BEYOND, BEYOND)
    middle = window.each(lambda places: float(np.median(ordered[places])))
    counted = window.sums(window.trace.minutes).tolist()
    length = BASELINE_TO - BASELINE_FROM
    enough = [covered(minutes, length) >= BASELINE_COVERAGE for minutes in counted]
    return np.where(enough, beyond(middle), np.nan)


def _peaks(after: After, _: float) -> Floats:
    smooth = after.window.trace.smooth
    return after.window.each(lambda places: float(smooth[places].max()))


def _rises(after: After, limit: float) -> Floats:
    return _peaks(after, limit) - after.baseline


def _areas(after: After, _: float) -> Floats:
    trace, begins = after.window.trace, after.window.start.tolist()

    def area(k: int, low: int, high: int) -> float:
        wide = slice(max(low - 1, 0), high + 1)
        minutes, values = (trace.at[wide] - begins[k]) / 60, trace.value[wide]
        first = max(int(np.searchsorted(minutes, 0, "right")) - 1, 0)
        last = int(np.searchsorted(minutes, WINDOW_MIN)) + 1
        if np.isnan(values[first:last]).any():
            return BEYOND
        baseline = float(after.baseline[k])
        return incremental_area(minutes, values, baseline, WINDOW_MIN, longest_gap=LONGEST_GAP_MIN)

    return np.array([area(k, *places) for k, places in enumerate(after.window.places)])


def _minutes_above(after: After, limit: float) -> Floats:
    trace = after.window.trace
    above = np.where(trace.above(limit), trace.minutes, 0.0)
    return after.window.share(above, trace.minutes) * WINDOW_MIN


OUTCOMES: Mapping[str, tuple[Callable[[After, float], Floats], bool]] = {
    "rise": (_rises, True),
    "area_2h": (_areas, True),
    "peak": (_peaks, False),
    "minutes_above": (_minutes_above, False),
}
"""Each outcome's number, with the upper end of a client's range; whether it needs the baseline."""


def outcomes_after(
    after: After, rules: Mapping[str, OutcomeRule], limit: float
) -> dict[str, list[Found]]:
    """Return every outcome of the rule book for each meal.

    What was cut by the next food before the two hours were over is unknown, and says so.

    Args:
        after: the readings after each meal.
        rules: the outcomes of a meal.
        limit: upper end of the client's range, mg/dL.

    Raises:
        MinerError: the rule book names an outcome of a meal that is not known.
    """
    for name, rule in rules.items():
        if name not in OUTCOMES or rule.window != "after_meal":
            raise MinerError(
                "tables.not_an_outcome_of_a_meal",
                file="outcomes.toml",
                name=name,
                window=rule.window,
                known=list(OUTCOMES),
                close=closest(name, OUTCOMES),
            )
    return {name: _found(after, name, rule.coverage, limit) for name, rule in rules.items()}


def _found(after: After, name: str, least: float, limit: float) -> list[Found]:
    measure, from_baseline = OUTCOMES[name]
    found = []
    for k, number in enumerate(measure(after, limit).tolist()):
        baseline = after.baseline[k] if from_baseline else 0.0
        why: Message | str | None = after.why_unknown(k, least)
        if why is None and np.isnan(baseline):
            why = "no_baseline"
        elif why is None and (abs(baseline) >= BEYOND or abs(number) >= BEYOND / 2):
            why = "beyond_the_sensor"
        elif why is None and np.isnan(number):
            why = because("gap_after_meal", minutes=LONGEST_GAP_MIN)
        rows = after.rows[k]
        found.append(unknown(why, rows) if why else Found(number, rows=rows))
    return found
