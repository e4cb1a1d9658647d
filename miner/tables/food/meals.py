"""Meals with what is around them, what each is called, and the two hours after it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from math import isnan

import numpy as np

from miner.core.messages import Message, MinerError, closest
from miner.records.client import Client
from miner.rulebook import OutcomeRule, RuleBook
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
from miner.tables.glucose.outcomes import BEYOND, beyond
from miner.tables.glucose.rises import incremental_area
from miner.tables.glucose.trace import Mask, Trace, above
from miner.tables.measures import DayRecords, records_of

DAWN = 4 * HOUR
"""Until then by the clock it is still the evening before."""

NAMED_OFTEN_ENOUGH = 5
NEAR = 90 * 60
APART = 150 * 60
AROUND = 45 * 60
STEP = 15 * 60
SHARE_OF_DAYS = 0.4


@dataclass(frozen=True, slots=True)
class Habit:
    """The client's usual times of the main meals, in seconds after midnight."""

    usual: Mapping[str, int]

    def nearest(self, clock: int) -> tuple[str, int]:
        """Return the main meal whose usual time is nearest, and how far off it is, in seconds."""
        away = {name: abs(int(from_usual(clock, at))) for name, at in self.usual.items()}
        name = min(away, key=lambda each: (away[each], MAIN.index(each)))
        return name, away[name]


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
    if habit is None:
        return tuple(told)
    names = list(told)
    wanted: dict[tuple[int, str], list[tuple[float, int, int]]] = {}
    for place, item in enumerate(occasions):
        if told[place]:
            continue
        names[place] = "snack"
        name, away = habit.nearest(item.clock % DAY)
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
) -> Habit | None:
    clock = np.array([item.clock % DAY for item in occasions], np.int64)
    named = {name: clock[[each == name for each in told]] for name in MAIN}
    usual = {
        name: at
        for name, clocks in named.items()
        if clocks.size >= NAMED_OFTEN_ENOUGH and (at := usual_clock(clocks)) is not None
    }
    times = _usual_times(occasions, days)
    if len(usual) >= 2:
        return Habit(usual | _missing(usual, times, usual_wake))
    names = _in_order([(at - usual_wake) % DAY for at in times])
    found = dict(zip(names, times, strict=True)) if names else {}
    return Habit(found | usual) if found or usual else None


def _missing(usual: dict[str, int], times: Sequence[int], usual_wake: int) -> dict[str, int]:
    """Return the one main meal that is not named, where food comes back at a time that fits it.

    It fits where it lies 150 minutes or more from the meals that are named, and in its place in
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
    """One client's meals, beside the streams cut into days.

    Attributes:
        foods: words that come back often enough to be looked at.
        tag_start, tag_end, tag_name, tag_row: the tags that may be habits, by start.
        tag_date: the date of each that is noted without a time of day, in days since 1970-01-01;
            -1 for the others.
    """

    days: DayRecords
    meals: tuple[Meal, ...]
    foods: tuple[str, ...]
    tag_start: Times
    tag_end: Times
    tag_name: tuple[str, ...]
    tag_row: tuple[Source, ...]
    tag_date: Times


MealMeasure = Callable[[MealRecords, int], Found]


def meal_records(client: Client, rules: RuleBook) -> MealRecords:
    """Put a client's meals beside the streams cut into days."""
    records = records_of(client, rules)
    meals = _meals(client, records, FoodWords.of(rules.cautions))
    dates = [meal.clock // DAY if meal.day < 0 else meal.day for meal in meals]
    least = rules.guardrails.label_repeats_for_food_factor
    eaten, synonyms = [meal.eaten for meal in meals], client.settings.food_synonyms
    foods = foods_of(eaten, dates, least, rules.cautions, synonyms)
    frame = client.used("tags")
    start, names, rows = seconds(frame["start"]), words(frame["tag"]), origins(frame)
    dated = frame["date_only"].to_numpy(dtype=bool)
    order = [k for k in np.argsort(start, kind="stable") if names[k] in records.tags.habits]
    return MealRecords(
        records,
        meals,
        foods,
        start[order],
        seconds(frame["end"])[order],
        tuple(names[k] for k in order),
        tuple(rows[k] for k in order),
        np.where(dated, seconds(frame["start_clock"]) // DAY, -1)[order],
    )


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
    texts = [str(text) for text in clock.astype("datetime64[s]").astype("datetime64[m]")]
    repeated = {text for text in texts if texts.count(text) > 1} if _repeats(texts) else set()
    return [
        text + (_offset(int(clock[k] - at[k])) if text in repeated else "")
        for k, text in enumerate(texts)
    ]


def _repeats(texts: list[str]) -> bool:
    return len(set(texts)) < len(texts)


def _offset(offset: int) -> str:
    hours, minutes = divmod(abs(offset) // 60, 60)
    return f"{'-' if offset < 0 else '+'}{hours:02d}:{minutes:02d}"


WINDOW_MIN = 120
BASELINE_FROM, BASELINE_TO = -15 * 60, 5 * 60
BASELINE_COVERAGE = 0.5
LONGEST_GAP_MIN = 20


@dataclass(frozen=True, slots=True)
class After:
    """The readings of the two hours after a meal.

    Attributes:
        minutes: after its start; those just outside the two hours are there to draw the line.
        values: mg/dL, NaN for LO and HI.
        smooth: smoothed readings inside, LO and HI beyond every reading.
        weights, over: minutes each reading inside stands for, and whether it is above the range.
        baseline: mg/dL, NaN where it is not known, infinite beyond the sensor.
        coverage: share of the two hours that readings cover.
        cut_min: minutes to the next food, where that is sooner than two hours, else infinite.
        sensors: how many sensors the readings from the baseline on come from.
    """

    minutes: Floats
    values: Floats
    smooth: Floats
    smooth_at: Floats
    weights: Floats
    over: Mask
    baseline: float
    coverage: float
    cut_min: float
    sensors: int
    rows: tuple[Source, ...]


def after_meals(trace: Trace, smooth: Floats, meals: Sequence[Meal], limit: float) -> list[After]:
    """Return the readings after each meal.

    Args:
        trace: the readings.
        smooth: the smoothed readings.
        meals: in time order.
        limit: upper end of the client's range, mg/dL.
    """
    over = above(trace.ordered, trace.tenths, limit)
    at = np.array([meal.at for meal in meals], dtype=np.int64)
    begins, ends = (at + BASELINE_FROM, at), (at + BASELINE_TO, at + WINDOW_MIN * 60)
    low = [np.searchsorted(trace.at, begin, side="left") for begin in begins]
    high = [np.searchsorted(trace.at, end, side="right") for end in ends]
    places = np.stack([low[0], high[0], low[1], high[1]], axis=1)
    return [
        _after(trace, smooth, over, meal, row)
        for meal, row in zip(meals, places.tolist(), strict=True)
    ]


def _after(trace: Trace, smooth: Floats, over: Mask, meal: Meal, places: list[int]) -> After:
    first, ready, low, high = places
    wide = slice(max(low - 1, 0), high + 1)
    inside = slice(low, high)
    weights = trace.minutes[inside]
    minutes = (trace.at[wide] - meal.at) / 60
    counted = weights[(trace.at[inside] - meal.at) < WINDOW_MIN * 60].sum()
    cut = (meal.next_food - meal.at) / 60
    return After(
        minutes=minutes,
        values=trace.value[wide],
        smooth=smooth[inside],
        smooth_at=(trace.at[inside] - meal.at) / 60,
        weights=weights,
        over=over[inside],
        baseline=_baseline(trace, first, ready),
        coverage=covered(float(counted), WINDOW_MIN * 60),
        cut_min=cut if cut < WINDOW_MIN else np.inf,
        sensors=np.unique(trace.sensor[first:high]).size if high > first else 0,
        rows=trace.ends(first, high),
    )


def _baseline(trace: Trace, low: int, high: int) -> float:
    length = BASELINE_TO - BASELINE_FROM
    if high <= low or covered(float(trace.minutes[low:high].sum()), length) < BASELINE_COVERAGE:
        return float("nan")
    ordered = np.clip(trace.ordered[low:high], -BEYOND, BEYOND)
    return float(beyond(np.median(ordered, keepdims=True))[0])


def _rise(piece: After) -> float:
    return float(piece.smooth.max()) - piece.baseline


def _area(piece: After) -> float:
    first = max(int(np.searchsorted(piece.minutes, 0, "right")) - 1, 0)
    last = int(np.searchsorted(piece.minutes, WINDOW_MIN)) + 1
    if np.isnan(piece.values[first:last]).any():
        return BEYOND
    return incremental_area(
        piece.minutes, piece.values, piece.baseline, WINDOW_MIN, longest_gap=LONGEST_GAP_MIN
    )


def _peak(piece: After) -> float:
    return float(piece.smooth.max())


def _minutes_above(piece: After) -> float:
    return float(piece.weights[piece.over].sum() / piece.weights.sum() * WINDOW_MIN)


OUTCOMES: Mapping[str, tuple[Callable[[After], float], bool]] = {
    "rise": (_rise, True),
    "area_2h": (_area, True),
    "peak": (_peak, False),
    "minutes_above": (_minutes_above, False),
}
"""Each outcome's number, and whether it needs the baseline."""


def outcomes_after(
    pieces: Sequence[After], rules: Mapping[str, OutcomeRule]
) -> dict[str, list[Found]]:
    """Return every outcome of the rule book for each meal.

    What was cut by the next food before the two hours were over is unknown, and says so.

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
    return {name: [_one(piece, name, rule) for piece in pieces] for name, rule in rules.items()}


def _one(piece: After, name: str, rule: OutcomeRule) -> Found:
    measure, from_baseline = OUTCOMES[name]
    if why := why_unknown(piece, rule.coverage):
        return unknown(why, piece.rows)
    if from_baseline and np.isnan(piece.baseline):
        return unknown("no_baseline", piece.rows)
    if from_baseline and abs(piece.baseline) >= BEYOND:
        return unknown("beyond_the_sensor", piece.rows)
    number = measure(piece)
    if np.isnan(number):
        return unknown(because("gap_after_meal", minutes=LONGEST_GAP_MIN), piece.rows)
    if abs(number) >= BEYOND / 2:
        return unknown("beyond_the_sensor", piece.rows)
    return Found(number, rows=piece.rows)


def why_unknown(piece: After, coverage: float) -> Message | None:
    """Return why nothing can be read after a meal, None where it can."""
    if piece.coverage < coverage and not np.isfinite(piece.cut_min):
        share, need = percent(piece.coverage), percent(coverage)
        return because("readings_after_meal", share=share, need=need)
    if np.isfinite(piece.cut_min):
        return because("next_food_came", minutes=piece.cut_min, window=WINDOW_MIN)
    if piece.sensors > 1:
        return because("sensor_changed")
    return None
