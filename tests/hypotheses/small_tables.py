"""Small tables of days made by hand or at random, for the tests of the ranking."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from benchmarks.calibration.worlds import UNEVEN, WEEKLY, WORLDS, month
from miner import rulebook
from miner.tables.unit_table import UnitTable

RULES = rulebook.load()
MONDAY = 20514  # 2 March 2026, days since 1970-01-01
NAN = float("nan")


def day_table(outcomes, factors, *, numbers=None, sensor="a", usable=None, by_clock=None):
    """A table of days from columns; rest days are Saturdays and Sundays."""
    n = len(next(iter(outcomes.values())))
    numbers = MONDAY + (np.arange(n) if numbers is None else np.asarray(numbers))
    dates = [str(np.datetime64(int(number), "D")) for number in numbers]
    frame = pd.DataFrame(
        {
            "date": dates,
            "day_number": numbers,
            "rest_day": np.isin((numbers + 3) % 7, (5, 6)),
            "sensor": sensor,
            "coverage": 1.0,
            "usable": True if usable is None else usable,
            "left_out": "",
            **{name: np.asarray(values, float) for name, values in outcomes.items()},
            **{name: np.asarray(values, float) for name, values in factors.items()},
        },
        index=pd.Index(dates),
    )
    clock = frame[list(outcomes)].copy()
    for name, values in (by_clock or {}).items():
        clock[name] = np.asarray(values, float)
    return UnitTable(
        unit="day",
        frame=frame,
        outcomes=tuple(outcomes),
        factors=tuple(factors),
        measures=frame[list(factors)] * 10,
        by_clock=clock,
        reasons={},
        sources={},
        context=frame[[]],
    )


def random_table(
    seed, *, days, factors, outcomes, world="persistent", shift=0.0, both=0.0, twins=False,
    clock_noise=3.0, dose=0.0,
):  # fmt: skip
    """A month with days missing, days left out, and unknown outcomes and factors.

    ``shift``: how many SD the late dinner moves the first outcome. ``both``: how much, in its own
    unit, the first outcome is higher where the second and third factors come together. ``twins``:
    the last factor is a copy of the second but for one day, the one before it is the weekend.
    ``dose``: habits have measures too, of which the second moves the first outcome by so much a
    unit; the last is measured by nearly the same as the third.
    """
    rng = np.random.default_rng(1000 + seed)
    made = month(
        {**WORLDS, **WEEKLY, **UNEVEN}[world], RULES, days=days, factors=factors, seed=seed,
        shift=shift, target=outcomes[0], outcomes=outcomes,
    )  # fmt: skip
    frame, names = made.table.frame.copy(), made.table.factors
    frame[outcomes[0]] += both * frame[names[1]] * frame[names[2]]
    if twins:
        frame[names[-1]] = frame[names[1]]
        frame.iloc[3, frame.columns.get_loc(names[-1])] = 1 - frame[names[1]].iloc[3]
        frame[names[-2]] = frame["rest_day"].astype(float)
    for name in outcomes:
        frame[name] = frame[name].round(1).mask(rng.random(days) < 0.08)
    for name in names:
        frame[name] = frame[name].mask(rng.random(days) < 0.08)
    by_clock = frame[list(outcomes)] + rng.normal(0, clock_noise, (days, len(outcomes)))
    by_clock = by_clock.mask(rng.random((days, len(outcomes))) < 0.1)
    frame.loc[rng.random(days) < 0.05, "usable"] = False
    keep = rng.random(days) >= 0.06
    measures = frame.loc[:, list(names)]
    if dose:
        amounts = measured(rng, made.table.frame, names)
        amounts[names[-1]] = amounts[names[2]] + rng.normal(0, 0.1, days)
        frame[outcomes[0]] += dose * amounts[names[1]]
        measures = amounts.mask(rng.random((days, len(names))) < 0.1)
        measures = measures * [-1 if RULES.factor(name).towards_less else 1 for name in names]
    return replace(
        made.table, frame=frame[keep], by_clock=by_clock[keep], measures=measures[keep],
        context=frame.loc[keep, []],
    )  # fmt: skip


def measured(rng, frame, names):
    """How much of each habit there was: more on the days that have it, by chance otherwise."""
    amounts = frame[list(names)] + rng.uniform(0, 1.4, (len(frame), len(names)))
    return amounts.round(2)


def with_guard(**changes):
    """The rule book with other guardrails."""
    return RULES.model_copy(update={"guardrails": RULES.guardrails.model_copy(update=changes)})


def with_factor(name, **changes):
    """The rule book with another definition of one factor."""
    factor = RULES.factor(name).model_copy(update=changes)
    return RULES.model_copy(update={"factors": {**RULES.factors, name: factor}})


def meal_rules(**guard):
    """A rule book with one outcome and factors by meal."""
    rise = RULES.outcomes["biggest_rise"].model_copy(
        update={"unit": "meal", "window": "after_meal", "smallest_worth_it": 5.0}
    )
    factor = RULES.factors["late_dinner"].model_copy(
        update={
            "unit": "meal", "lag": {"after_meal": 0}, "same_time": (), "moves_window": (),
            "confounders": (), "yields_to": (),
        }
    )  # fmt: skip
    names = ("walk_after", "after_short_sleep", "high_carb")
    return RULES.model_copy(
        update={
            "outcomes": {"rise": rise},
            "factors": dict.fromkeys(names, factor),
            "guardrails": RULES.guardrails.model_copy(update=guard),
        }
    )


def meal_table(days, *, per_day=3, seed=0, day_sd=1.0, effect=0.0):
    """Meals of which those of one day share that day; one factor is the day's."""
    rng = np.random.default_rng(seed)
    day = np.repeat(np.arange(days), per_day)
    n = len(day)
    walk = (rng.random(n) < 0.4).astype(float)
    night = (rng.random(days) < 0.4).astype(float)[day]
    carbs = rng.normal(50, 10, n)
    y = 40 + 10 * (day_sd * rng.normal(size=days)[day] + rng.normal(size=n)) + effect * walk
    frame = pd.DataFrame(
        {
            "date": [str(np.datetime64(int(MONDAY + number), "D")) for number in day],
            "day_number": MONDAY + day,
            "rest_day": np.isin((MONDAY + day + 3) % 7, (5, 6)),
            "sensor": "a",
            "coverage": 1.0,
            "usable": True,
            "left_out": "",
            "meal": [("breakfast", "lunch", "dinner", "snack")[at % per_day] for at in range(n)],
            "carbs_g": carbs,
            "rise": y,
            "walk_after": walk,
            "after_short_sleep": night,
            "high_carb": (carbs > 55).astype(float),
        },
        index=pd.Index([f"meal {at}" for at in range(n)]),
    )
    factors = ("walk_after", "after_short_sleep", "high_carb")
    return UnitTable(
        unit="meal", frame=frame, outcomes=("rise",), factors=factors,
        measures=frame[list(factors)], by_clock=frame[["rise"]].copy(), reasons={}, sources={},
        context=frame[[]],
    )  # fmt: skip
