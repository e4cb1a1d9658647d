"""What an invented client is made of: habits, true effects, sensor, logging, file habits."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any, Literal

import numpy as np

MEALS = ("breakfast", "lunch", "dinner")
OUTCOMES = ("wake_glucose", "overnight_mean", "day_mean", "minutes_above", "rise")
OF_THE_NIGHT = ("short_sleep", "broken_sleep")


@dataclass(frozen=True, slots=True)
class Effect:
    """One thing that is true of a client.

    Attributes:
        factor: a habit of the scenario (``short_sleep``, ``late_dinner``, ``tag:wine`` ...).
        outcome: ``wake_glucose``, ``overnight_mean`` and ``day_mean`` are shifted by ``size``
            mg/dL; ``minutes_above`` shifts the day's mean by ``size`` mg/dL, so that its minutes
            follow; ``rise`` (walks only) multiplies the rise after that meal by ``1 + size``.
        size: mg/dL, or a share for ``rise``.
        dose: ``size`` is for each hour of sleep less than seven, not for each short night; more
            sleep than that takes as much away.

    Habits of the night act on the morning that ends it and the day that follows; habits of the
    day act on that day, and on the night and morning after it.
    """

    factor: str
    outcome: str
    size: float
    dose: bool = False

    @property
    def lag_days(self) -> int:
        """Days from the row that holds the habit to the row that holds the outcome."""
        next_row = self.outcome in ("wake_glucose", "overnight_mean")
        return int(next_row and self.factor not in OF_THE_NIGHT)


@dataclass(frozen=True, slots=True)
class Habit:
    """How often a habit happens.

    Attributes:
        frequency: the share of days with it.
        persistence: its correlation from one day to the next.
        together: the name of a habit it always comes with, or "".
    """

    frequency: float
    persistence: float = 0.25
    together: str = ""


def usual_habits() -> dict[str, Habit]:
    """Return the habits of an ordinary month; several are too rare to be ranked."""
    return {
        "short_sleep": Habit(0.30),
        "broken_sleep": Habit(0.18),
        "late_dinner": Habit(0.33),
        "high_carb_dinner": Habit(0.30),
        "no_breakfast": Habit(0.18),
        "snack": Habit(0.35),
        "carb_only_snack": Habit(0.30),
        "evening_snack": Habit(0.25),
        "much_stress": Habit(0.28, 0.35),
        "walk_after_breakfast": Habit(0.15),
        "walk_after_lunch": Habit(0.25),
        "walk_after_dinner": Habit(0.30),
        "afternoon_walk": Habit(0.35),
        "vigorous_activity": Habit(0.20, 0.0),
        "tag:wine": Habit(0.25),
        "tag:coffee late": Habit(0.25),
        "tag:restaurant": Habit(0.15, 0.0),
        "tag:headache": Habit(0.10),
        "tag:travel": Habit(0.07, 0.4),
    }


@dataclass(frozen=True, slots=True)
class Scenario:
    """One invented client; the same scenario always gives the same files.

    Attributes:
        code: the client's code and folder name.
        days: biological days, wake to wake, that the records hold in full.
        start: the first calendar day.
        seed: seed of everything random, together with the code.
        effects: what is true.
        habits: how often each habit happens.
        reactive: habits become likelier after a day with a high glucose level.
        reaction: by how much, as log odds per SD of yesterday's level.
        sleep_spread: factor on how far the hours of sleep lie apart, within short nights and the
            others, and the times of waking.
        weekend_habits: log odds added to every habit at weekends.
        persistence: correlation of the day's glucose level with the day before (AR(1)).
        level_sd: SD of the day's level, mg/dL.
        base: the level before dawn and meals, mg/dL.
        meal_size: factor on every rise after food.
        linked_meals: rises follow the logged meals; False: they keep to their own times and sizes
            whatever is logged, so that no logged food goes with anything.
        carb_slope: mg/dL of rise for each gram of carbohydrate, where meals are linked.
        grams: least and most carbohydrate of a meal, where it is not the usual amount.
        unit: unit of the glucose file.
        cadence: minutes between readings.
        sensor_days: days each sensor is worn.
        sensor_sd: SD of the sensors' biases, mg/dL.
        logging: share of days on which meals and tags are noted at the start.
        fading: share of that which is lost by the last day.
        misspelt: share of tags written another way.
        messy: other columns, formats and faults, with a ``sources.toml``.
        time_zone: IANA name, or None for none. Life goes by the clock on the wall; where that is
            put forward or back, what falls into the hour that is missing or comes twice is not
            recorded, nor is the night.
        pooled: consent to be pooled with others.
        intake: answers for ``[intake]``.
        settled: what ``[clinician]`` holds.
        recorded_days: days recorded so far, or None for all; the others lie ahead, as they will be.
        followed: of a habit, whether it happened on some days because it was asked for: the dates
            of its rows. A night belongs to the date on which it ends.
    """

    code: str
    days: int = 35
    start: date = date(2026, 1, 12)
    seed: int = 0
    effects: tuple[Effect, ...] = ()
    habits: Mapping[str, Habit] = field(default_factory=usual_habits)
    reactive: bool = False
    reaction: float = 0.9
    sleep_spread: float = 1.0
    weekend_habits: float = 0.0
    persistence: float = 0.5
    level_sd: float = 5.5
    base: float = 98.0
    meal_size: float = 1.0
    linked_meals: bool = True
    carb_slope: float = 0.3
    grams: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    unit: Literal["mg/dL", "mmol/L"] = "mg/dL"
    cadence: int = 5
    sensor_days: int = 14
    sensor_sd: float = 4.0
    logging: float = 0.95
    fading: float = 0.0
    misspelt: float = 0.0
    messy: bool = False
    time_zone: str | None = None
    pooled: bool = False
    intake: Mapping[str, str] = field(default_factory=dict)
    settled: Mapping[str, Any] = field(default_factory=dict)
    recorded_days: int | None = None
    followed: Mapping[str, Mapping[date, bool]] = field(default_factory=dict)

    @property
    def last_day(self) -> date:
        """The calendar day on which the records end, at 09:00."""
        days = self.days if self.recorded_days is None else self.recorded_days
        return self.start + timedelta(days=days)

    def __post_init__(self) -> None:
        if self.days < 1 or self.cadence not in (5, 15):
            raise ValueError("days must be at least 1 and cadence 5 or 15")
        if self.messy and self.days < 7:
            raise ValueError("messy files need at least 7 days")
        for habit in self.habits.values():
            if habit.together and self.habits.get(habit.together, habit).together:
                raise ValueError(f"'{habit.together}' is not a habit with a frequency of its own")
        missing = set(usual_habits()) - set(self.habits)
        if any(not name.startswith("tag:") for name in missing):
            raise ValueError(f"habits without a frequency: {sorted(missing)}")
        for effect in self.effects:
            walk = effect.factor.startswith("walk_after_")
            if effect.factor not in self.habits or effect.outcome not in OUTCOMES:
                raise ValueError(f"no such effect: {effect.factor} -> {effect.outcome}")
            if effect.outcome == "rise" and not walk:
                raise ValueError("only a walk after a meal changes a rise")
            if effect.dose and effect.factor != "short_sleep":
                raise ValueError("only sleep has a dose")

    def generator(self, part: str) -> np.random.Generator:
        """Return the random numbers of one part of the client, whatever the other parts draw."""
        words = [self.seed, zlib.crc32(self.code.encode()), zlib.crc32(part.encode())]
        return np.random.Generator(np.random.PCG64(np.random.SeedSequence(words)))
