"""Invented months that look like a unit table.

A month has the shape the day table has: the six outcomes of the rule book, 15 or 30 factors,
weekends, sensors. Where ``shift`` is given, one factor truly moves one outcome by that many
standard deviations.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.signal import lfilter

from benchmarks.calibration.kinds import EVERY, UNEVEN, WEEKLY, WORLDS, World
from miner.hypotheses.design import Design, Item, Target, earlier
from miner.rulebook import RuleBook
from miner.tables.unit_table import UnitTable

__all__ = ["EVERY", "UNEVEN", "WEEKLY", "WORLDS", "Month", "World", "month"]

Floats = NDArray[np.float64]
Effects = dict[tuple[str, str], float]

MEAN = {"wake_glucose": 105.0, "overnight_mean": 108.0, "day_mean": 112.0, "variability": 20.0,
        "minutes_above": 150.0, "biggest_rise": 60.0}  # fmt: skip
SPREAD = {"wake_glucose": 7.5, "overnight_mean": 8.0, "day_mean": 8.0, "variability": 4.0,
          "minutes_above": 40.0, "biggest_rise": 14.0}  # fmt: skip
SHARED = 0.6
FIRST_DAY = 20514  # Monday 2 March 2026, days since 1970-01-01
ASKED, ANSWERING = "late_dinner", ("late_dinner", "much_stress", "active_day")
KEEP_WEEKDAYS, SLIPS, RARE, TWIN = 5, 0.07, 0.12, (0.03, 0.10)
SKEW = 0.9
SKEWED_SD = float(np.sqrt((np.exp(SKEW**2) - 1) * np.exp(SKEW**2)))


@dataclass(frozen=True)
class Calendar:
    """The days of a month: numbers since 1970, weekdays (Monday 0), rest days, sensors."""

    numbers: NDArray[np.int64]

    @property
    def weekday(self) -> NDArray[np.int64]:
        """Return the weekday of each day, Monday 0."""
        return (self.numbers + 3) % 7

    @property
    def rest(self) -> NDArray[np.bool_]:
        """Return which days are of a weekend."""
        return np.isin(self.weekday, (5, 6))

    @property
    def sensors(self) -> NDArray[np.int64]:
        """Return which sensor was worn, 14 days each."""
        return (self.numbers - self.numbers[0]) // 14


@dataclass(frozen=True)
class Month:
    """One invented month, and what its outcomes would be without their scatter.

    Attributes:
        names: of the m habits.
        outcomes: outcome -> shape (days,), its own unit, NaN unknown.
        habits: shape (days, m), 1 yes, 0 no, NaN unknown.
        measures: shape (days, m), how much of each there was; the habits where it is not known.
        truth: outcome -> shape (days,), the true effect alone, the outcome's own unit.
    """

    calendar: Calendar
    names: tuple[str, ...]
    outcomes: dict[str, Floats]
    habits: Floats
    measures: Floats
    truth: dict[str, Floats]

    @cached_property
    def table(self) -> UnitTable:
        """The same as a unit table."""
        numbers = self.calendar.numbers
        dates = pd.Index(np.datetime_as_string(numbers.astype("datetime64[D]")), dtype=object)
        frame = pd.DataFrame(
            {
                "date": dates,
                "day_number": numbers,
                "rest_day": self.calendar.rest,
                "usable": True,
                "left_out": "",
                "sensor": self.calendar.sensors.astype(str),
                "coverage": 1.0,
                **self.outcomes,
                **dict(zip(self.names, self.habits.T, strict=True)),
            },
            index=dates,
        )
        return UnitTable(
            unit="day",
            frame=frame,
            outcomes=tuple(self.outcomes),
            factors=self.names,
            measures=pd.DataFrame(self.measures, index=dates, columns=list(self.names)),
            by_clock=frame[list(self.outcomes)].copy(),
            reasons={},
            sources={},
            context=frame[[]],
        )

    def design(self, like: Design) -> Design:
        """Return what is tested, without a table, and without labels of the higher quarter.

        Args:
            like: the design of another month of the same days, habits and outcomes, from its table.
        """
        columns: dict[tuple[str, int], tuple[Floats, Floats | None]] = {}
        targets = []
        for target in like.targets:
            for item in target.items:
                if (item.factor, item.lag) not in columns:
                    columns[item.factor, item.lag] = self._columns(item)
            items = tuple(
                Item(
                    item.factor, item.rule, item.lag, item.relation, *columns[item.factor, item.lag]
                )
                for item in target.items
            )
            values = self.outcomes[target.name]
            none = np.full(len(values), np.nan)
            targets.append(Target(target.name, target.rule, values, values, none, items))
        return replace(like, targets=tuple(targets))

    def _columns(self, item: Item) -> tuple[Floats, Floats | None]:
        at, days = self.names.index(item.factor), self.calendar.numbers
        values = earlier(self.habits[:, at], days, item.lag)
        if item.dose is None:
            return values, None
        sign = -1 if item.rule.towards_less else 1
        return values, sign * earlier(self.measures[:, at], days, item.lag) / (item.rule.per or 1)


def month(
    world: World,
    rules: RuleBook,
    *,
    days: int,
    factors: int,
    seed: int,
    shift: float = 0.0,
    cause: str = ASKED,
    target: str = "minutes_above",
    outcomes: tuple[str, ...] = tuple(MEAN),
    spreads: Callable[[np.random.Generator], Effects] | None = None,
    measured: bool = False,
) -> Month:
    """Draw one month.

    Args:
        world: how outcomes and habits come about.
        rules: the rule book, for names, lags and windows.
        days: rows of the table.
        factors: how many factors; names of the rule book first, then tags.
        seed: of this month.
        shift: SD by which ``cause`` moves ``target``; 0 for a world in which nothing is true.
        cause: the factor that is true.
        target: the outcome it moves.
        outcomes: which outcomes the table has.
        spreads: draws true effects (factor, outcome) -> own unit, in place of one shift.
        measured: habits that the rule book knows by a measure have one, beside yes and no.
    """
    rng, names = np.random.default_rng(seed), factor_names(rules, factors)
    calendar = Calendar(FIRST_DAY + np.arange(days))
    common = world.weekend * calendar.rest + world.drift * np.linspace(-0.5, 0.5, days)
    begin = int(rng.integers(0, max(days - 7, 1)))
    common[begin : begin + 7] += world.bad_week
    lasting = _changes(world, rng, days, 1 + factors) + _waves(world, rng, days, 1 + factors)
    lasting = common[:, None] + lasting
    shared = _noise(world, rng, days) + lasting[:, 0]
    habits, amounts = _habits(world, rng, calendar, names, shared, lasting[:, 1:])
    if world.weekly:
        shared = shared + world.weekly * rng.normal(size=7)[calendar.weekday]
    effects = spreads(rng) if spreads else {}
    if shift:
        effects = {(cause, target): shift * SPREAD[target]}
    columns, truth = {}, {}
    sensors = calendar.sensors
    step = rng.normal(0, world.sensor_step, sensors.max() + 1)[sensors]
    wider = np.ones(days)
    if world.uneven != 1.0:
        wider[habits[:, names.index(ASKED)] == 1] = world.uneven
    for name in outcomes:
        own = _noise(world, rng, days)
        latent = wider * (np.sqrt(SHARED) * shared + np.sqrt(1 - SHARED) * own) + step
        if world.dips and name == "overnight_mean":
            latent = latent - world.dips * habits[:, names.index("long_sleep")]
        values = np.exp(SKEW * latent) / SKEWED_SD if world.skewed else latent
        truth[name] = _effect(rules, name, names, habits, effects)
        columns[name] = MEAN[name] + SPREAD[name] * values + truth[name]
    known = ~_unnoted(world, rng, shared, habits.shape)
    if world.missing_by_outcome:
        gone = rng.random(days) < world.missing_by_outcome * (shared > 0.5)
        columns = {name: np.where(gone, np.nan, values) for name, values in columns.items()}
    if measured:
        amounts *= [-1.0 if rules.factor(name).towards_less else 1.0 for name in names]
    habits = np.where(known, habits, np.nan)
    measures = np.where(known, 10 + amounts, np.nan) if measured else habits
    return Month(calendar, names, columns, habits, measures, truth)


def factor_names(rules: RuleBook, count: int) -> tuple[str, ...]:
    """Return names of the rule book, then tags, as many as asked for."""
    own = [name for name in rules.factors_of("day") if ":" not in name]
    first = ["short_sleep", "late_dinner", "much_stress"]
    own = first + [name for name in own if name not in first]
    return tuple((own + [f"tag:t{number}" for number in range(count)])[:count])


def _ar1(rng: np.random.Generator, days: int, phi: float) -> Floats:
    steps = rng.normal(size=days) * np.sqrt(1 - phi**2)
    steps[0] = rng.normal()
    series: Floats = lfilter([1.0], [1.0, -phi], steps)
    return series


def _noise(world: World, rng: np.random.Generator, days: int) -> Floats:
    share = world.outcome_share
    dependent = _ar1(rng, days, world.outcome_phi)
    return np.sqrt(share) * dependent + np.sqrt(1 - share) * rng.normal(size=days)


def _changes(world: World, rng: np.random.Generator, days: int, count: int) -> Floats:
    if not world.change:
        return np.zeros((days, count))
    when = rng.integers(round(0.2 * days), round(0.8 * days) + 1, count)
    when = when[:1] if world.changes_together else when
    ways = rng.choice([-1.0, 1.0], count)
    return world.change * ways * (np.arange(days)[:, None] >= when)


def _waves(world: World, rng: np.random.Generator, days: int, count: int) -> Floats:
    if not world.wave:
        return np.zeros((days, count))
    length, start = rng.uniform(14, 56, count), rng.uniform(0, 2 * np.pi, count)
    return world.wave * np.sin(2 * np.pi * np.arange(days)[:, None] / length + start)


def _habits(
    world: World,
    rng: np.random.Generator,
    calendar: Calendar,
    names: tuple[str, ...],
    shared: Floats,
    common: Floats,
) -> tuple[Floats, Floats]:
    """Return whether each habit came, and how much of it there was, shape (days, m) each.

    There is more than nothing of a habit on the days on which it came, and less on the others.

    Args:
        world: how habits come about.
        rng: the source of chance.
        calendar: the days.
        names: of the m habits.
        shared: shape (days,), what lies behind all outcomes.
        common: shape (days, m), what is added to each habit.
    """
    days, count = common.shape
    habits, amounts = np.empty((days, count)), np.empty((days, count))
    for at, name in enumerate(names):
        latent = _ar1(rng, days, world.habit_phi) + common[:, at]
        latent[1:] += world.reacts * shared[:-1]
        latent += world.answers * shared * (name in ANSWERING)
        amounts[:, at] = latent - np.quantile(latent, 1 - rng.uniform(0.2, 0.5))
        habits[:, at] = amounts[:, at] > 0
    for at in _on_weekdays(world, rng, names):
        own = rng.choice(7, rng.integers(1, 4), replace=False)
        habits[:, at] = np.isin(calendar.weekday, own) ^ (rng.random(days) < SLIPS)
    if world.uneven != 1.0:
        rare = np.arange(days) < round(RARE * days)
        habits[:, names.index(ASKED)] = rng.permutation(rare)
    for at in range(1, count, 2) if world.paired else ():
        other = rng.random(days) < rng.uniform(*TWIN)
        habits[:, at] = np.where(other, 1 - habits[:, at - 1], habits[:, at - 1])
        amounts[:, at] = amounts[:, at - 1]
    return habits, np.where(habits == 1, 1.0, -1.0) * np.abs(amounts)


def _on_weekdays(world: World, rng: np.random.Generator, names: tuple[str, ...]) -> list[int]:
    """Return which habits keep to weekdays: the one that is asked about, and others by chance."""
    if not world.weekly:
        return []
    asked, chosen = names.index(ASKED), rng.choice(len(names), KEEP_WEEKDAYS, replace=False)
    return chosen.tolist() if asked in chosen else [asked, *chosen[1:]]


def _effect(
    rules: RuleBook, outcome: str, names: tuple[str, ...], habits: Floats, effects: Effects
) -> Floats:
    total = np.zeros(len(habits))
    for (factor, target), size in effects.items():
        lag = rules.factor(factor).lag.get(rules.outcomes[outcome].window)
        if target != outcome or lag is None or factor not in names:
            continue
        column = habits[:, names.index(factor)]
        total += size * (column if lag == 0 else np.concatenate([[0.0] * lag, column[:-lag]]))
    return total


def _unnoted(
    world: World, rng: np.random.Generator, shared: Floats, shape: tuple[int, ...]
) -> NDArray[np.bool_]:
    high = shared > 0.5
    unknown = np.linspace(0, world.fading, shape[0])
    unknown = unknown + world.missing_by_outcome * high + world.unnoted * ~high
    return rng.random(shape) < unknown[:, None]
