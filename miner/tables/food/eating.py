"""Eating occasions: rows of the meal log put together, which was which meal, which no food."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from math import isnan
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from miner.records.columns import NO_TIME, NOT_FOOD
from miner.tables.columns import (
    DAY,
    HOUR,
    Source,
    Times,
    fold,
    numbers,
    origins,
    seconds,
    whole_words,
    words,
)

if TYPE_CHECKING:
    from miner.records.client import Client
    from miner.rulebook import Cautions, RuleBook
    from miner.tables.sleep.nights import Days

Item = TypeVar("Item")
MEAL_WORDS = {
    "breakfast": whole_words(["breakfast"]),
    "lunch": whole_words(["lunch"]),
    "dinner": whole_words(["dinner", "supper", "evening meal"]),
    "snack": whole_words(["snack"]),
}
_LINES = re.compile(r"\s*[\r\n]+\s*")
_PARTS = re.compile(r"[,;:+&/()\[\]|•·]|\s[-–—]\s|\band\b|\bwith\b")
_UNITS = (
    "kg|grams?|gr|g|mg|mcg|ml|cl|dl|lit(?:re|er)s?|l|oz|lbs?|kcal|cals?|kj|cm|iu|units?|u|tbsp|tsp|"
    "cups?|x|%"
)
_AMOUNT = re.compile(
    rf"\bx\s*\d+(?![^\W_])|\b\d+(?:[.,/]\d+)?(?:\s*(?:{_UNITS}))?(?![^\W_])|\bx\b|[¼-¾⅓⅔]"
)
"""150 g, 200ml, 2 x, x2, 1/2, 3; a number that is part of a name (b12) is none."""

_WORD = re.compile(r"[^\W\d_]+(?:['’-][^\W\d_]+)*")
AMOUNT_WORDS = frozenset(
    (
        "and", "with", "the", "from", "for", "some", "little", "small", "large", "big", "half",
        "quarter", "double", "extra", "more", "home", "made", "fresh", "bit", "plus", "few",
        "several", "pack", "packs", "packet", "packets", "piece", "pieces", "slice", "slices",
        "tub", "tubs", "portion", "portions", "serving", "servings", "handful", "tbsp", "tsp",
        "tablespoon", "tablespoons", "teaspoon", "teaspoons", "spoon", "spoons", "cup", "cups",
        "mug", "mugs", "glass", "glasses", "bowl", "bowls", "plate", "plates", "can", "cans",
        "bottle", "bottles", "one", "two", "three", "four", "five", "six",
    )
)  # fmt: skip
"""Words of amounts and of making, which name no food."""


def said(label: str) -> str:
    """Return a label without case and without the name of a meal; empty where nothing is left.

    Lines become parts of one line, with commas between.
    """
    text = fold(_LINES.sub(", ", label.strip()))
    for pattern in MEAL_WORDS.values():
        text = pattern.sub(" ", text)
    return " ".join(text.split()).strip(" -:,;.")


def without_amounts(text: str) -> str:
    """Return the words of a text, without amounts and words of amounts."""
    words = _WORD.findall(_AMOUNT.sub(" ", text))
    return " ".join(word for word in words if word not in AMOUNT_WORDS and len(word) > 1)


def parts_of(label: str) -> list[str]:
    """Return the foods of a label: parted by lines, signs, "and", "with"; no bare amount."""
    return [part for part in _PARTS.split(said(label)) if without_amounts(part)]


def words_of(label: str) -> list[list[str]]:
    """Return the words of each food of a label; an amount between two foods parts them too."""
    parts = _PARTS.split(_AMOUNT.sub(",", said(label)))
    return [words for part in parts if (words := _WORD.findall(part))]


class NoFood(StrEnum):
    """Why a row of the meal log is no food.

    Values:
        TYPE: the column of meal types says so.
        LOW: by its label it treats a low.
        MEDICINE: by its label it notes a medicine and nothing else.
        NOTHING: by its label nothing was eaten.
        NOT_REPORTED: by its label nothing is reported, and no amount is.
    """

    TYPE = "type"
    LOW = "low"
    MEDICINE = "medicine"
    NOTHING = "nothing"
    NOT_REPORTED = "not_reported"


@dataclass(frozen=True, slots=True)
class NotEaten:
    """One row of the meal log that is no food.

    Attributes:
        at: its instant, seconds.
        meal: what the column of meal types says: breakfast, lunch, dinner, snack, else empty.
        taken: whether something with carbohydrate was taken in, or may have been.
    """

    why: NoFood
    at: int
    meal: str
    label: str
    taken: bool
    row: Source


@dataclass(frozen=True, slots=True)
class FoodWords:
    """The words of the rule book that tell what is no food."""

    low: re.Pattern[str]
    low_whole: frozenset[str]
    medicine: re.Pattern[str]
    nothing: frozenset[str]
    not_reported: frozenset[str]

    @classmethod
    def of(cls, cautions: Cautions) -> FoodWords:
        """Return the words of a rule book."""
        return cls(
            whole_words(cautions.low_treatment_words),
            frozenset(map(fold, cautions.low_treatment_labels)),
            whole_words(cautions.medicine_words),
            frozenset(map(fold, cautions.nothing_eaten_labels)),
            frozenset(map(fold, cautions.not_reported_labels)),
        )

    def why(self, label: str, *, amount: bool) -> NoFood | None:
        """Return why a row is no food by its label, or None where it may be food.

        Args:
            label: as noted.
            amount: whether energy, carbohydrate, protein or fat above 0 is reported.
        """
        text = said(label)
        if not text:
            return None
        if self.low.search(text):
            return NoFood.LOW
        for why, listed in (
            (NoFood.NOTHING, self.nothing),
            (NoFood.NOT_REPORTED, self.not_reported),
        ):
            if not amount and {text, without_amounts(text)} & listed:
                return why
        parts = parts_of(label)
        if parts and all(self.is_none(part) for part in parts):
            low = any(without_amounts(part) in self.low_whole for part in parts)
            return NoFood.LOW if low else NoFood.MEDICINE
        return None

    def is_none(self, part: str) -> bool:
        """Say whether one part of a label is no food: a medicine, or what treats a low."""
        return without_amounts(part) in self.low_whole or bool(self.medicine.search(part))


MAIN = ("breakfast", "lunch", "dinner")


@dataclass(frozen=True, slots=True)
class Occasion:
    """Food eaten within a quarter of an hour.

    Attributes:
        at, clock: instant and wall clock of the first row, seconds.
        kind: breakfast, lunch, dinner, snack by the column of meal types, else empty.
        words: the same by the words of the labels, in their order.
        carbs, protein, energy: sums, NaN where any row does not tell.
        carbs_told: the sum of the carbohydrate that is reported, g.
        carbs_level, protein_level: the highest level noted, empty where any row has none.
        rows: the rows it is made of.
    """

    at: int
    clock: int
    kind: str
    words: tuple[str, ...]
    carbs: float
    protein: float
    energy: float
    carbs_told: float
    carbs_level: str
    protein_level: str
    rows: tuple[Source, ...]

    def called(self, after_midnight: int, after_waking: int) -> str:
        """Return what it is called: by its type, else by the first word that fits the hour.

        Breakfast fits before 16:00 and within three hours of waking, lunch from 10:00 to 17:00,
        dinner from 15:00 to the end of the day, a snack always, but after the three meals.

        Args:
            after_midnight: its wall clock after the midnight that begins the day's date, seconds.
            after_waking: seconds since waking.
        """
        if self.kind or not self.words:
            return self.kind
        fits = {
            "breakfast": after_midnight < 16 * HOUR or 0 <= after_waking < 3 * HOUR,
            "lunch": 10 * HOUR <= after_midnight < 17 * HOUR,
            "dinner": after_midnight >= 15 * HOUR,
        }
        main = next((word for word in self.words if fits.get(word)), "")
        return main or ("snack" if "snack" in self.words else "")


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
    no_food: tuple[NotEaten, ...]
    untimed: tuple[tuple[int, str], ...] = ()

    def taken(self) -> list[int]:
        """Return the instants of what was eaten or taken with carbohydrate, or may have been."""
        taken = [entry.at for entry in self.no_food if entry.taken]
        return sorted([*(item.at for item in self.occasions), *taken])


@dataclass(frozen=True, slots=True)
class Eaten:
    """The eating occasions of one day in time order, and which of them was which main meal.

    Attributes:
        main: breakfast, lunch and dinner, as far as they are known.
        not_told: instants of rows that may have been food and do not tell.
        noted: whether anything is in the meal log that day, food or not.
    """

    occasions: tuple[Occasion, ...]
    main: Mapping[str, Occasion]
    not_told: tuple[int, ...] = ()
    noted: bool = False

    def between_meals(self) -> tuple[Occasion, ...]:
        """Return the occasions that are none of the three meals."""
        return tuple(item for item in self.occasions if item not in self.main.values())


def food_of(client: Client, rules: RuleBook) -> Food:
    """Return what was eaten, and the rows of the meal log that are no food."""
    return client.derived("food", rules, lambda: _food_of(client, rules))


def _food_of(client: Client, rules: RuleBook) -> Food:
    frame = client.used("meals")
    amounts = {name: numbers(frame[name]) for name in AMOUNTS}
    some = np.any([column > 0 for column in amounts.values()], axis=0).tolist()
    by_label = cache(FoodWords.of(rules.cautions).why)
    noted = frame["label"].fillna("").astype(str).tolist()
    why = [
        NoFood.TYPE if meal == NOT_FOOD else by_label(label, amount=amount)
        for meal, label, amount in zip(frame["meal"].tolist(), noted, some, strict=True)
    ]
    at, clock, rows = seconds(frame["time"]), seconds(frame["clock"]), origins(frame)
    meals, labels = words(frame["meal"]), words(frame["label"])
    entries = []
    for k, reason in enumerate(why):
        if reason is not None:
            may = reason is NoFood.NOT_REPORTED or reason is NoFood.LOW
            taken = may or bool(amounts["carbs_g"][k] > 0)
            meal = "" if meals[k] == NOT_FOOD else meals[k]
            entries.append(NotEaten(reason, int(at[k]), meal, noted[k], taken, rows[k]))
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
    by_day = _placed(food.occasions, days.of_eating(_instants(food.occasions)), len(days))
    others = _placed(food.no_food, days.of_eating(_instants(food.no_food)), len(days))
    untimed = np.array([at for at, _ in food.untimed], dtype=np.int64)
    lost = _placed([meal for _, meal in food.untimed], days.of(untimed), len(days))
    found = []
    for k, number in enumerate(days.number.tolist()):
        begin, finish = int(days.start[k]), int(days.end[k])
        eaten = name_meals(by_day[k], number * DAY, begin, others[k])
        # food at an unknown time may be any meal, or the one it says
        gone = {*MAIN} if "" in lost[k] else {*lost[k]}
        if lost[k]:
            known = {meal: item for meal, item in eaten.main.items() if meal not in gone}
            around = len(lost[k]) * (begin,), len(lost[k]) * (finish - 1,)
            not_told = (*around[0], *eaten.not_told, *around[1])
            eaten = Eaten(eaten.occasions, known, not_told, noted=True)
        found.append(eaten)
    return found


def _instants(items: Sequence[Occasion] | Sequence[NotEaten]) -> Times:
    return np.array([item.at for item in items], dtype=np.int64)


def _placed(items: Sequence[Item], places: Times, days: int) -> list[list[Item]]:
    """Return the items of each day; a place of -1 is outside of all."""
    found: list[list[Item]] = [[] for _ in range(days)]
    for place, item in zip(places.tolist(), items, strict=True):
        if place >= 0:
            found[place].append(item)
    return found


def name_meals(
    occasions: Sequence[Occasion], midnight: int, wake: int, others: Sequence[NotEaten] = ()
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
    main = {"breakfast": breakfast, "lunch": lunch, "dinner": dinner}
    known = {name: item for name, item in main.items() if item is not None and name not in lost}
    not_told_at = tuple(entry.at for entry in not_told)
    return Eaten(tuple(occasions), known, not_told_at, bool(occasions or others))


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
    """Return the largest where sizes are reported for all, else the first; ties go the same way."""
    ordered = list(items)[::-1] if latest else list(items)
    sizes = _sizes(ordered)
    if not ordered or not sizes:
        return ordered[0] if ordered else None
    return ordered[sizes.index(max(sizes))]
