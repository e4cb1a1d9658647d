"""Invented months as feature tables: worlds in which nothing is true, or one thing is.

Each world gives a table of the shape the day table has: the six outcomes of the rule book, 15 or
30 factors, weekends, sensors. Habits and outcomes depend on time, on the weekend, on each other's
past, in the way the world's name says. Where ``shift`` is given, one factor truly moves one
outcome by that many standard deviations.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from miner.rulebook import RuleBook
from miner.tables.unit_table import UnitTable

MEAN = {"wake_glucose": 105.0, "overnight_mean": 108.0, "day_mean": 112.0, "variability": 20.0,
        "minutes_above": 150.0, "biggest_rise": 60.0}  # fmt: skip
SPREAD = {"wake_glucose": 7.5, "overnight_mean": 8.0, "day_mean": 8.0, "variability": 4.0,
          "minutes_above": 40.0, "biggest_rise": 14.0}  # fmt: skip
SHARED = 0.6
FIRST_DAY = 20514  # Monday 2 March 2026, days since 1970-01-01


@dataclass(frozen=True)
class World:
    """How one world differs from independent days.

    Attributes:
        outcome_phi: day-to-day correlation of the outcomes' dependent part.
        outcome_share: share of the outcomes' variance that depends on time.
        habit_phi: day-to-day correlation of what lies behind each habit.
        weekend: shift of outcomes and of habits on rest days, in SD.
        drift: shift from the first to the last day, in SD.
        reacts: how strongly a habit answers yesterday's outcome, in SD.
        bad_week: shift of outcomes and habits in one week nobody wrote down, in SD.
        skewed: outcomes are log-normal.
        sensor_step: SD of the level of each 14-day sensor, in SD.
        fading: share of habits not noted on the last day, from 0 on the first.
        missing_by_outcome: habits and outcomes go missing more on high days.
        weekly: SD of the outcomes' own weekday profile, in SD of a day. Five habits then keep to
            weekdays of their own, but for a slip on 7 of 100 days.
        uneven: how many times as far the outcomes scatter on days of one habit, which comes on 12
            of 100 days.
        confounded: no method that sees only the table can repair it.
    """

    name: str
    outcome_phi: float = 0.0
    outcome_share: float = 1.0
    habit_phi: float = 0.0
    weekend: float = 0.0
    drift: float = 0.0
    reacts: float = 0.0
    bad_week: float = 0.0
    skewed: bool = False
    sensor_step: float = 0.0
    fading: float = 0.0
    missing_by_outcome: float = 0.0
    weekly: float = 0.0
    uneven: float = 1.0
    confounded: bool = False


WORLDS = {
    world.name: world
    for world in (
        World("independent"),
        World("persistent", outcome_phi=0.6, habit_phi=0.6),
        World("ar1_plus_noise", outcome_phi=0.8, outcome_share=0.6, habit_phi=0.6),
        World("weekend_and_drift", habit_phi=0.3, weekend=0.8, drift=1.0),
        World("reacting", outcome_phi=0.6, habit_phi=0.3, reacts=0.8),
        World("bad_week", outcome_phi=0.3, habit_phi=0.3, bad_week=1.2, confounded=True),
        World("skewed", outcome_phi=0.3, habit_phi=0.3, skewed=True),
        World("sensor_steps", outcome_phi=0.3, habit_phi=0.6, sensor_step=1.0),
        World("fading_logs", outcome_phi=0.4, habit_phi=0.4, drift=0.5, fading=0.6),
        World("missing_by_outcome", outcome_phi=0.4, habit_phi=0.4, missing_by_outcome=0.3,
              confounded=True),
    )
}  # fmt: skip


WEEKLY = {
    world.name: world
    for world in (World(f"weekly_{size:g}", weekly=size) for size in (0.35, 0.7, 1.4))
}
"""A client's own weekly routine: glucose has weekdays, five habits have others, neither knows."""

UNEVEN = {
    world.name: world
    for world in (World(f"uneven_{times:g}", uneven=times) for times in (2.0, 3.0))
}
"""Days with one rare habit scatter further, and are no higher."""

KEEP_WEEKDAYS, SLIPS, RARE = 5, 0.07, 0.12


@dataclass(frozen=True)
class Month:
    """One invented month: its table, and what the outcomes would be without their scatter.

    Attributes:
        truth: outcome -> shape (days,), the true effect alone, the outcome's own unit.
    """

    table: UnitTable
    factor: str | None
    outcome: str | None
    truth: dict[str, np.ndarray] = field(default_factory=dict)


def month(
    world: World,
    rules: RuleBook,
    *,
    days: int,
    factors: int,
    seed: int,
    shift: float = 0.0,
    cause: str = "late_dinner",
    target: str = "minutes_above",
    outcomes: tuple[str, ...] = tuple(MEAN),
    spreads: Callable[[np.random.Generator], dict[tuple[str, str], float]] | None = None,
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
    """
    rng = np.random.default_rng(seed)
    names = factor_names(rules, factors)
    day = FIRST_DAY + np.arange(days)
    rest = np.isin((day + 3) % 7, (5, 6))
    week = np.zeros(days)
    begin = int(rng.integers(0, max(days - 7, 1)))
    week[begin : begin + 7] = world.bad_week
    shared = _shared(world, rng, rest) + week
    habits = _habits(world, rng, shared, rest, len(names), week)
    weekday, wider = (day + 3) % 7, np.ones(days)
    if world.weekly:
        habits = _on_weekdays(rng, habits, weekday)
        shared = shared + world.weekly * rng.normal(size=7)[weekday]
    if world.uneven != 1.0:
        habits[:, names.index(cause)] = rng.permutation(np.arange(days) < round(RARE * days))
        wider = np.where(habits[:, names.index(cause)] == 1, world.uneven, 1.0)
    effects = spreads(rng) if spreads else {}
    if shift:
        effects = {(cause, target): shift * SPREAD[target]}
    columns, truth = {}, {}
    sensors = np.arange(days) // 14
    step = rng.normal(0, world.sensor_step, sensors.max() + 1)[sensors]
    for name in outcomes:
        own = _noise(world, rng, days)
        latent = wider * (np.sqrt(SHARED) * shared + np.sqrt(1 - SHARED) * own) + step
        values = np.exp(0.9 * latent) if world.skewed else latent
        values = values / (np.exp(0.9 * rng.normal(size=4000)).std() if world.skewed else 1.0)
        truth[name] = _effect(rules, name, names, habits, effects)
        columns[name] = MEAN[name] + SPREAD[name] * values + truth[name]
    noted = _noted(world, rng, habits, shared)
    frame = _frame(day, rest, sensors, columns, names, noted)
    if world.missing_by_outcome:
        gone = rng.random(days) < world.missing_by_outcome * (shared > 0.5)
        frame.loc[gone, list(outcomes)] = np.nan
    return Month(_table(frame, outcomes, names), cause if shift else None,
                 target if shift else None, truth)  # fmt: skip


def factor_names(rules: RuleBook, count: int) -> tuple[str, ...]:
    """Return names of the rule book, then tags, as many as asked for."""
    own = [name for name in rules.factors_of("day") if ":" not in name]
    first = ["short_sleep", "late_dinner", "much_stress"]
    own = first + [name for name in own if name not in first]
    tags = [f"tag:t{number}" for number in range(count)]
    return tuple((own + tags)[:count])


def _ar1(rng: np.random.Generator, days: int, phi: float) -> np.ndarray:
    steps = rng.normal(size=days) * np.sqrt(1 - phi**2)
    steps[0] = rng.normal()
    out = np.empty(days)
    level = 0.0
    for at in range(days):
        level = phi * level + steps[at] if at else steps[0]
        out[at] = level
    return out


def _noise(world: World, rng: np.random.Generator, days: int) -> np.ndarray:
    share = world.outcome_share
    dependent = _ar1(rng, days, world.outcome_phi)
    return np.sqrt(share) * dependent + np.sqrt(1 - share) * rng.normal(size=days)


def _shared(world: World, rng: np.random.Generator, rest: np.ndarray) -> np.ndarray:
    days = len(rest)
    level = _noise(world, rng, days)
    return level + world.weekend * rest + world.drift * np.linspace(-0.5, 0.5, days)


def _habits(
    world: World,
    rng: np.random.Generator,
    shared: np.ndarray,
    rest: np.ndarray,
    count: int,
    week: np.ndarray,
) -> np.ndarray:
    days = len(shared)
    out = np.empty((days, count))
    for at in range(count):
        latent = _ar1(rng, days, world.habit_phi)
        yesterday = np.concatenate([[0.0], shared[:-1]])
        latent = latent + world.reacts * yesterday + week
        latent = latent + world.weekend * rest + world.drift * np.linspace(-0.5, 0.5, days)
        out[:, at] = latent > np.quantile(latent, 1 - rng.uniform(0.2, 0.5))
    return out


def _on_weekdays(rng: np.random.Generator, habits: np.ndarray, weekday: np.ndarray) -> np.ndarray:
    """Give some habits, chosen by chance, one to three weekdays of their own, with slips."""
    out = habits.copy()
    for at in rng.choice(habits.shape[1], KEEP_WEEKDAYS, replace=False):
        own = rng.choice(7, rng.integers(1, 4), replace=False)
        out[:, at] = np.isin(weekday, own) ^ (rng.random(len(weekday)) < SLIPS)
    return out


def _effect(rules, outcome, names, habits, effects):  # type: ignore[no-untyped-def]
    total = np.zeros(len(habits))
    for (factor, target), size in effects.items():
        lag = rules.factor(factor).lag.get(rules.outcomes[outcome].window)
        if target != outcome or lag is None or factor not in names:
            continue
        column = habits[:, names.index(factor)]
        total += size * (column if lag == 0 else np.concatenate([[0.0] * lag, column[:-lag]]))
    return total


def _noted(
    world: World, rng: np.random.Generator, habits: np.ndarray, shared: np.ndarray
) -> np.ndarray:
    days, count = habits.shape
    unknown = np.linspace(0, world.fading, days)[:, None]
    unknown = unknown + world.missing_by_outcome * (shared > 0.5)[:, None]
    return np.where(rng.random((days, count)) < unknown, np.nan, habits)


def _frame(day, rest, sensors, columns, names, noted):  # type: ignore[no-untyped-def]
    dates = [str(np.datetime64(int(number), "D")) for number in day]
    frame = pd.DataFrame(
        {"date": dates, "day_number": day, "rest_day": rest, "usable": True, "left_out": "",
         "sensor": [str(number) for number in sensors], "coverage": 1.0, **columns},
        index=pd.Index(dates),
    )  # fmt: skip
    return pd.concat([frame, pd.DataFrame(noted, index=frame.index, columns=list(names))], axis=1)


def _table(frame: pd.DataFrame, outcomes: tuple[str, ...], names: tuple[str, ...]) -> UnitTable:
    return UnitTable(
        unit="day",
        frame=frame,
        outcomes=outcomes,
        factors=names,
        measures=frame[list(names)],
        by_clock=frame[list(outcomes)].copy(),
        reasons={},
        sources={},
        context=frame[[]],
    )
