"""Eating occasions: rows of the meal log put together, and which of them was which meal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import isnan, nan

import numpy as np

from miner.records.client import Client
from miner.records.columns import NO_TIME, NOT_FOOD
from miner.rulebook import RuleBook
from miner.tables.biological_days import Days
from miner.tables.clockwork import DAY, HOUR, Floats, seconds
from miner.tables.columns import numbers, origins, words
from miner.tables.labels_of_food import MEAL_WORDS
from miner.tables.no_food import Entry, FoodWords, NoFood
from miner.tables.occasions import MAIN, Occasion

ONE_OCCASION_MIN = 15
AMOUNTS = ("carbs_g", "protein_g", "fat_g", "energy_kcal")
LEVELS = ("low", "moderate", "high")


@dataclass(frozen=True, slots=True)
class Food:
    """The meal log of a client in time order: eating occasions, and the rows that are no food.

    Attributes:
        untimed: what was eaten at some time of a day: noon of that day, and which meal it was.
    """

    occasions: tuple[Occasion, ...]
    no_food: tuple[Entry, ...]
    untimed: tuple[tuple[int, str], ...] = ()

    def taken(self) -> list[int]:
        """Return the instants of what was eaten or taken with carbohydrate, or may have been."""
        taken = [entry.at for entry in self.no_food if entry.taken]
        return sorted([*(item.at for item in self.occasions), *taken])


@dataclass(frozen=True, slots=True)
class Eaten:
    """The eating occasions of one day in time order, and the place of each main meal.

    Attributes:
        not_told: instants of rows that may have been food and do not tell.
        noted: whether anything stands in the meal log that day, food or not.
    """

    occasions: tuple[Occasion, ...]
    breakfast: Occasion | None
    lunch: Occasion | None
    dinner: Occasion | None
    not_told: tuple[int, ...] = ()
    noted: bool = False

    def between_meals(self) -> tuple[Occasion, ...]:
        """Return the occasions that are none of the three meals."""
        meals = (self.breakfast, self.lunch, self.dinner)
        return tuple(item for item in self.occasions if item not in meals)


def food_of(client: Client, rules: RuleBook) -> Food:
    """Return what was eaten, and the rows of the meal log that are no food."""
    return client.derived("food", rules, lambda: _food_of(client, rules))


def _food_of(client: Client, rules: RuleBook) -> Food:
    frame = client.used("meals")
    amounts = {name: numbers(frame[name]) for name in AMOUNTS}
    why = _no_food(frame["meal"].tolist(), frame["label"].tolist(), amounts, rules)
    at, clock, rows = seconds(frame["time"]), seconds(frame["clock"]), origins(frame)
    meals, labels = words(frame["meal"]), words(frame["label"])
    noted = [str(label) for label in frame["label"].tolist()]
    entries = []
    for k, reason in enumerate(why):
        if reason is not None:
            may = reason is NoFood.NOT_REPORTED or reason is NoFood.LOW
            taken = may or bool(amounts["carbs_g"][k] > 0)
            meal = "" if meals[k] == NOT_FOOD else meals[k]
            entries.append(Entry(reason, int(at[k]), meal, noted[k], taken, rows[k]))
    levels = {name: words(frame[name]) for name in ("carbs_level", "protein_level")}
    found = []
    for group in _groups(at, [k for k, reason in enumerate(why) if reason is None]):
        sums = {name: sum(float(column[k]) for k in group) for name, column in amounts.items()}
        told = [float(amounts["carbs_g"][k]) for k in group]
        found.append(
            Occasion(
                at=int(at[group[0]]),
                clock=int(clock[group[0]]),
                kind=_main_first([meals[k] for k in group]),
                words=tuple(dict.fromkeys(word for k in group for word in _words(labels[k]))),
                carbs=sums["carbs_g"],
                protein=sums["protein_g"],
                energy=sums["energy_kcal"],
                carbs_told=sum(grams for grams in told if not isnan(grams)),
                carbs_level=_level([levels["carbs_level"][k] for k in group]),
                protein_level=_level([levels["protein_level"][k] for k in group]),
                rows=tuple(rows[k] for k in group),
            )
        )
    return Food(tuple(found), tuple(entries), _untimed(client))


def _untimed(client: Client) -> tuple[tuple[int, str], ...]:
    frame = client.streams["meals"]
    frame = frame[(frame["left_out"] == NO_TIME) & (frame["meal"] != NOT_FOOD)]
    return tuple(zip(seconds(frame["time"]).tolist(), words(frame["meal"]), strict=True))


def _no_food(
    meals: Sequence[object],
    labels: Sequence[object],
    amounts: dict[str, Floats],
    rules: RuleBook,
) -> list[NoFood | None]:
    why = cache(FoodWords.of(rules.cautions).why)
    some = np.zeros(len(meals), dtype=bool)
    for column in amounts.values():
        some |= column > 0
    return [
        NoFood.TYPE if meal == NOT_FOOD else why(label if isinstance(label, str) else "", bool(one))
        for meal, label, one in zip(meals, labels, some.tolist(), strict=True)
    ]


def _groups(at: np.ndarray, places: Sequence[int]) -> list[list[int]]:
    groups: list[list[int]] = []
    for k in places:
        if groups and at[k] - at[groups[-1][0]] <= ONE_OCCASION_MIN * 60:
            groups[-1].append(k)
        else:
            groups.append([k])
    return groups


def _words(label: str) -> list[str]:
    return [kind for kind, pattern in MEAL_WORDS.items() if pattern.search(label)]


def _main_first(named: Sequence[str]) -> str:
    """Return the first main meal that is named, else the first name."""
    told = [name for name in named if name]
    return next((name for name in told if name in MAIN), told[0] if told else "")


def _level(noted: list[str]) -> str:
    if any(level not in LEVELS for level in noted):
        return ""
    return max(noted, key=LEVELS.index)


def eaten_by_day(food: Food, days: Days) -> list[Eaten]:
    """Return what was eaten on each biological day, with the meals named."""
    by_day: list[list[Occasion]] = [[] for _ in range(len(days))]
    others: list[list[Entry]] = [[] for _ in range(len(days))]
    place = days.of_eating(np.array([item.at for item in food.occasions], dtype=np.int64))
    for k, item in zip(place.tolist(), food.occasions, strict=True):
        if k >= 0:
            by_day[k].append(item)
    place = days.of_eating(np.array([entry.at for entry in food.no_food], dtype=np.int64))
    for k, entry in zip(place.tolist(), food.no_food, strict=True):
        if k >= 0:
            others[k].append(entry)
    named = [
        name_meals(by_day[k], int(number) * DAY, int(days.start[k]), others[k])
        for k, number in enumerate(days.number.tolist())
    ]
    place = days.of(np.array([at for at, _ in food.untimed], dtype=np.int64))
    for k, (_, meal) in zip(place.tolist(), food.untimed, strict=True):
        if k >= 0:
            day = int(days.start[k]), int(days.end[k])
            named[k] = _with_untimed(named[k], meal, day)
    return named


def _with_untimed(eaten: Eaten, meal: str, day: tuple[int, int]) -> Eaten:
    """Return a day with food at an unknown time: it may be any meal, or the one it says."""
    lost = {meal} if meal in MAIN else {"breakfast", "lunch", "dinner"} if not meal else set()
    return replace(
        eaten,
        breakfast=None if "breakfast" in lost else eaten.breakfast,
        lunch=None if "lunch" in lost else eaten.lunch,
        dinner=None if "dinner" in lost else eaten.dinner,
        not_told=(day[0], *eaten.not_told, day[1] - 1),
        noted=True,
    )


def name_meals(
    occasions: Sequence[Occasion], midnight: int, wake: int, others: Sequence[Entry] = ()
) -> Eaten:
    """Tell which occasion of a day was breakfast, lunch and dinner.

    What the column of meal types says comes first; of several occasions noted as the same meal,
    the largest. Where it says nothing of a meal, an occasion without a type is it whose label has
    its word at an hour that fits (``Occasion.called``); of several the largest. Else only
    occasions that are called nothing are looked at: dinner is the largest that starts at 16:00 or
    later where all of them tell energy or all tell carbohydrate, else the last one that starts
    between 17:00 and 23:59; breakfast is the first within three hours of waking and before 16:00;
    lunch is the largest (else the first) of the rest that starts between 11:00 and 16:00. A meal
    whose row says that it is not reported is not known.

    Args:
        occasions: of one biological day, in time order.
        midnight: wall clock, in seconds, at which the day's date begins.
        wake: the instant the day begins.
        others: the rows of that day that are no food.
    """
    called = [item.called(item.clock - midnight, item.at - wake) for item in occasions]
    not_told = [entry for entry in others if entry.why is NoFood.NOT_REPORTED]
    lost = {entry.meal for entry in not_told}

    def named(kind: str) -> Occasion | None:
        typed = [item for item in occasions if item.kind == kind]
        word = [
            item
            for item, name in zip(occasions, called, strict=True)
            if name == kind and not item.kind
        ]
        return _largest(typed) or _largest(word)

    free = [item for item, name in zip(occasions, called, strict=True) if not name]
    dinner = named("dinner") or _unnamed_dinner(free, midnight)
    free = [item for item in free if item is not dinner]
    breakfast = named("breakfast") or next(
        (item for item in free if item.at - wake < 3 * HOUR and item.clock - midnight < 16 * HOUR),
        None,
    )
    noon = [
        item
        for item in free
        if item is not breakfast and 11 * HOUR <= item.clock - midnight < 16 * HOUR
    ]
    lunch = named("lunch") or _largest(noon)
    return Eaten(
        tuple(occasions),
        None if "breakfast" in lost else breakfast,
        None if "lunch" in lost else lunch,
        None if "dinner" in lost else dinner,
        tuple(entry.at for entry in not_told),
        bool(occasions or others),
    )


def _unnamed_dinner(free: Sequence[Occasion], midnight: int) -> Occasion | None:
    late = [item for item in free if item.clock - midnight >= 16 * HOUR]
    if late and _sizes(late):
        return _largest(late, latest=True)
    evening = [item for item in late if 17 * HOUR <= item.clock - midnight < 24 * HOUR]
    return evening[-1] if evening else None


def _sizes(items: Sequence[Occasion]) -> list[float]:
    for sizes in ([item.energy for item in items], [item.carbs for item in items]):
        if not any(isnan(size) for size in sizes):
            return sizes
    return []


def _largest(items: Sequence[Occasion], latest: bool = False) -> Occasion | None:
    """Return the largest where sizes are told for all, else the first; ties go the same way."""
    if not items:
        return None
    sizes = _sizes(items) or [nan] * len(items)
    ordered = list(zip(sizes, items, strict=True))
    if latest:
        ordered.reverse()
    best_size, best = ordered[0]
    for size, item in ordered[1:]:
        if size > best_size:
            best_size, best = size, item
    return best
