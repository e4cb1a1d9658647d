"""Invented months that look like a unit table.

A month has the shape the day table has: the six outcomes of the rule book, 15 or 30 factors,
weekends, sensors. Where ``shift`` is given, one factor truly moves one outcome by that many
standard deviations.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.signal import lfilter

from benchmarks.calibration.kinds import EVERY, UNEVEN, WEEKLY, WORLDS, World
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
class Month:
    """One invented month: its table, and what the outcomes would be without their scatter.

    Attributes:
        truth: outcome -> shape (days,), the true effect alone, the outcome's own unit.
    """

    table: UnitTable
    truth: dict[str, Floats] = field(default_factory=dict)


@dataclass(frozen=True)
class _Calendar:
    """The days of a month, and the source of chance: numbers since 1970, rest days, weekdays."""

    rng: np.random.Generator
    numbers: NDArray[np.int64]
    weekday: NDArray[np.int64]
    rest: NDArray[np.bool_]

    @property
    def days(self) -> int:
        return len(self.numbers)


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
    rng = np.random.default_rng(seed)
    names = factor_names(rules, factors)
    numbers = FIRST_DAY + np.arange(days)
    weekday = (numbers + 3) % 7
    calendar = _Calendar(rng, numbers, weekday, np.isin(weekday, (5, 6)))
    common = world.weekend * calendar.rest + world.drift * np.linspace(-0.5, 0.5, days)
    begin = int(rng.integers(0, max(days - 7, 1)))
    common[begin : begin + 7] += world.bad_week
    lasting = _changes(world, calendar, 1 + factors) + _waves(world, calendar, 1 + factors)
    own = common[:, None] + lasting
    shared = _noise(world, calendar) + own[:, 0]
    habits, amounts = _habits(world, calendar, names, shared, own[:, 1:])
    shared = shared + world.weekly * rng.normal(size=7)[weekday] if world.weekly else shared
    effects = spreads(rng) if spreads else {}
    if shift:
        effects = {(cause, target): shift * SPREAD[target]}
    columns, truth = {}, {}
    sensors = np.arange(days) // 14
    step = rng.normal(0, world.sensor_step, sensors.max() + 1)[sensors]
    wider = np.ones(days)
    if world.uneven != 1.0:
        wider[habits[:, names.index(ASKED)] == 1] = world.uneven
    for name in outcomes:
        own = _noise(world, calendar)
        latent = wider * (np.sqrt(SHARED) * shared + np.sqrt(1 - SHARED) * own) + step
        if world.dips and name == "overnight_mean":
            latent = latent - world.dips * habits[:, names.index("long_sleep")]
        values = np.exp(SKEW * latent) / SKEWED_SD if world.skewed else latent
        truth[name] = _effect(rules, name, names, habits, effects)
        columns[name] = MEAN[name] + SPREAD[name] * values + truth[name]
    known = ~_unnoted(world, rng, shared, habits.shape)
    frame = _frame(calendar, sensors, columns, names, np.where(known, habits, np.nan))
    if world.missing_by_outcome:
        gone = rng.random(days) < world.missing_by_outcome * (shared > 0.5)
        frame.loc[gone, list(outcomes)] = np.nan
    measures = frame[list(names)]
    if measured:
        signs = [-1.0 if rules.factor(name).towards_less else 1.0 for name in names]
        noted = np.where(known, 10 + amounts * signs, np.nan)
        measures = pd.DataFrame(noted, index=frame.index, columns=list(names))
    return Month(_table(frame, measures, outcomes, names), truth)


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


def _noise(world: World, calendar: _Calendar) -> Floats:
    rng, share = calendar.rng, world.outcome_share
    dependent = _ar1(rng, calendar.days, world.outcome_phi)
    return np.sqrt(share) * dependent + np.sqrt(1 - share) * rng.normal(size=calendar.days)


def _changes(world: World, calendar: _Calendar, count: int) -> Floats:
    rng, days = calendar.rng, calendar.days
    if not world.change:
        return np.zeros((days, count))
    when = rng.integers(round(0.2 * days), round(0.8 * days) + 1, count)
    when = when[:1] if world.changes_together else when
    ways = rng.choice([-1.0, 1.0], count)
    return world.change * ways * (np.arange(days)[:, None] >= when)


def _waves(world: World, calendar: _Calendar, count: int) -> Floats:
    rng, days = calendar.rng, calendar.days
    if not world.wave:
        return np.zeros((days, count))
    length, start = rng.uniform(14, 56, count), rng.uniform(0, 2 * np.pi, count)
    return world.wave * np.sin(2 * np.pi * np.arange(days)[:, None] / length + start)


def _habits(
    world: World, calendar: _Calendar, names: tuple[str, ...], shared: Floats, common: Floats
) -> tuple[Floats, Floats]:
    """Return whether each habit came, and how much of it there was, shape (days, m) each.

    There is more than nothing of a habit on the days on which it came, and less on the others.

    Args:
        world: how habits come about.
        calendar: the days.
        names: of the m habits.
        shared: shape (days,), what lies behind all outcomes.
        common: shape (days, m), what is added to each habit.
    """
    rng, days, count = calendar.rng, calendar.days, len(names)
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


def _frame(
    calendar: _Calendar,
    sensors: NDArray[np.int64],
    columns: dict[str, Floats],
    names: tuple[str, ...],
    noted: Floats,
) -> pd.DataFrame:
    dates = pd.Index(np.datetime_as_string(calendar.numbers.astype("datetime64[D]")), dtype=object)
    head = {"date": dates, "day_number": calendar.numbers, "rest_day": calendar.rest,
            "usable": np.ones(len(dates), dtype=bool),
            "left_out": np.full(len(dates), "", dtype=object),
            "sensor": sensors.astype(str).astype(object), "coverage": np.ones(len(dates)),
            }  # fmt: skip
    habits = dict(zip(names, noted.T, strict=True))
    return pd.DataFrame({**head, **columns, **habits}, index=dates)


def _table(
    frame: pd.DataFrame, measures: pd.DataFrame, outcomes: tuple[str, ...], names: tuple[str, ...]
) -> UnitTable:
    return UnitTable(
        unit="day",
        frame=frame,
        outcomes=outcomes,
        factors=names,
        measures=measures,
        by_clock=frame[list(outcomes)].copy(),
        reasons={},
        sources={},
        context=frame[[]],
    )
