"""Everything a measure of a meal may read, put together once for a client."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np

from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.tables.clockwork import DAY, Times, seconds
from miner.tables.columns import Source, origins, words
from miner.tables.measures import DayRecords, records_of
from miner.tables.food.eating import ONE_OCCASION_MIN
from miner.tables.food.foods import foods_of, merged, one_name, terms
from miner.tables.found import Found
from miner.tables.labels_of_food import parts_of, said
from miner.tables.meal_names import meal_names
from miner.tables.no_food import FoodWords, NoFood
from miner.tables.occasions import Occasion

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
