"""Eating occasions: rows of the meal log put together, and which of them was which meal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan, nan

from miner.records.client import Client
from miner.tables.biological_days import Days
from miner.tables.clockwork import DAY, HOUR, seconds
from miner.tables.columns import Source, numbers, origins, whole_words, words

ONE_OCCASION_MIN = 15
MEAL_WORDS = {
    "breakfast": whole_words(["breakfast"]),
    "lunch": whole_words(["lunch"]),
    "dinner": whole_words(["dinner", "supper", "evening meal"]),
    "snack": whole_words(["snack"]),
}
LEVELS = ("low", "moderate", "high")


@dataclass(frozen=True, slots=True)
class Occasion:
    """Food eaten within a quarter of an hour.

    Attributes:
        at, clock: instant and wall clock of the first row, seconds.
        kind: breakfast, lunch, dinner, snack as noted, else empty.
        carbs, protein, energy: sums, NaN where any row does not tell.
        carbs_told: the sum of the carbohydrate that is told, g.
        carbs_level, protein_level: the highest level noted, empty where any row has none.
        rows: the rows it is made of.
    """

    at: int
    clock: int
    kind: str
    carbs: float
    protein: float
    energy: float
    carbs_told: float
    carbs_level: str
    protein_level: str
    rows: tuple[Source, ...]


@dataclass(frozen=True, slots=True)
class Eaten:
    """The eating occasions of one day in time order, and the place of each main meal."""

    occasions: tuple[Occasion, ...]
    breakfast: Occasion | None
    lunch: Occasion | None
    dinner: Occasion | None

    def between_meals(self) -> tuple[Occasion, ...]:
        """Return the occasions that are none of the three meals."""
        meals = (self.breakfast, self.lunch, self.dinner)
        return tuple(item for item in self.occasions if item not in meals)


def occasions_of(client: Client) -> list[Occasion]:
    """Return the eating occasions of a client in time order."""
    frame = client.used("meals")
    at, clock = seconds(frame["time"]), seconds(frame["clock"])
    amounts = {name: numbers(frame[name]) for name in ("carbs_g", "protein_g", "energy_kcal")}
    levels = {name: words(frame[name]) for name in ("carbs_level", "protein_level")}
    meals, labels, rows = words(frame["meal"]), words(frame["label"]), origins(frame)
    groups: list[list[int]] = []
    for k in range(len(frame)):
        if groups and at[k] - at[groups[-1][0]] <= ONE_OCCASION_MIN * 60:
            groups[-1].append(k)
        else:
            groups.append([k])
    found = []
    for group in groups:
        sums = {name: sum(float(column[k]) for k in group) for name, column in amounts.items()}
        told = [float(amounts["carbs_g"][k]) for k in group]
        found.append(
            Occasion(
                at=int(at[group[0]]),
                clock=int(clock[group[0]]),
                kind=next(filter(None, (_kind(meals[k], labels[k]) for k in group)), ""),
                carbs=sums["carbs_g"],
                protein=sums["protein_g"],
                energy=sums["energy_kcal"],
                carbs_told=sum(grams for grams in told if not isnan(grams)),
                carbs_level=_level([levels["carbs_level"][k] for k in group]),
                protein_level=_level([levels["protein_level"][k] for k in group]),
                rows=tuple(rows[k] for k in group),
            )
        )
    return found


def _kind(meal: str, label: str) -> str:
    for text in (meal, label):
        for kind, pattern in MEAL_WORDS.items():
            if pattern.search(text):
                return kind
    return ""


def _level(noted: list[str]) -> str:
    if any(level not in LEVELS for level in noted):
        return ""
    return max(noted, key=LEVELS.index)


def eaten_by_day(occasions: Sequence[Occasion], days: Days) -> list[Eaten]:
    """Return what was eaten on each biological day, with the meals named."""
    by_day: list[list[Occasion]] = [[] for _ in range(len(days))]
    place = 0
    for item in occasions:
        while place < len(days) and item.at >= days.end[place]:
            place += 1
        if place < len(days) and item.at >= days.start[place]:
            by_day[place].append(item)
    return [
        name_meals(items, int(days.number[k]) * DAY, int(days.start[k]))
        for k, items in enumerate(by_day)
    ]


def name_meals(occasions: Sequence[Occasion], midnight: int, wake: int) -> Eaten:
    """Tell which occasion of a day was breakfast, lunch and dinner.

    What the log says (the ``meal`` column, else the words of the label) comes first; of several
    occasions noted as the same meal, the largest. Where the log does not say, only occasions
    without a name are looked at: dinner is the largest that starts at 16:00 or later where all of
    them tell energy or all tell carbohydrate, else the last one that starts between 17:00 and
    23:59; breakfast is the first within three hours of waking and before 16:00; lunch is the
    largest (else the first) of the rest that starts between 11:00 and 16:00.

    Args:
        occasions: of one biological day, in time order.
        midnight: wall clock, in seconds, at which the day's date begins.
        wake: the instant the day begins.
    """
    named = {
        kind: [item for item in occasions if item.kind == kind]
        for kind in ("breakfast", "lunch", "dinner")
    }
    free = [item for item in occasions if not item.kind]
    dinner = _largest(named["dinner"]) or _unnamed_dinner(free, midnight)
    free = [item for item in free if item is not dinner]
    breakfast = _largest(named["breakfast"]) or next(
        (item for item in free if item.at - wake < 3 * HOUR and item.clock - midnight < 16 * HOUR),
        None,
    )
    noon = [
        item
        for item in free
        if item is not breakfast and 11 * HOUR <= item.clock - midnight < 16 * HOUR
    ]
    lunch = _largest(named["lunch"]) or _largest(noon)
    return Eaten(tuple(occasions), breakfast, lunch, dinner)


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
