"""The kinds of world that diaries come from.

Habits and outcomes depend on time, on the weekend, on each other's past, in the way the world's
name says. In none of them does a habit move an outcome; ``worlds.month`` adds such a shift.
"""

from __future__ import annotations

from dataclasses import dataclass


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
        answers: how strongly three habits answer the outcome of the same day, in SD.
        bad_week: shift of outcomes and habits in one week nobody wrote down, in SD.
        change: lasting shift of outcomes and of habits, up or down, in SD, from a day in the
            middle three fifths on.
        changes_together: that day is the same for outcomes and habits; else each has its own.
        wave: height of a slow wave of two to eight weeks, in SD; outcomes and habits each have a
            wave of their own.
        skewed: outcomes are log-normal.
        sensor_step: SD of the level of each 14-day sensor, in SD.
        fading: share of habits not noted on the last day, from 0 on the first.
        missing_by_outcome: habits and outcomes go missing more on high days.
        unnoted: share of habits not noted on days that are not high.
        weekly: SD of the outcomes' own weekday profile, in SD of a day. Five habits then keep to
            weekdays of their own, but for a slip on 7 of 100 days.
        uneven: how many times as far the outcomes scatter on days of one habit, which comes on 12
            of 100 days.
        paired: every second habit is the one before it, but for 3 to 10 of 100 days.
        dips: how far the sensor reads too low in nights of long sleep, in SD.
        confounded: no method that sees only the table can repair it.
    """

    name: str
    outcome_phi: float = 0.0
    outcome_share: float = 1.0
    habit_phi: float = 0.0
    weekend: float = 0.0
    drift: float = 0.0
    reacts: float = 0.0
    answers: float = 0.0
    bad_week: float = 0.0
    change: float = 0.0
    changes_together: bool = False
    wave: float = 0.0
    skewed: bool = False
    sensor_step: float = 0.0
    fading: float = 0.0
    missing_by_outcome: float = 0.0
    unnoted: float = 0.0
    weekly: float = 0.0
    uneven: float = 1.0
    paired: bool = False
    dips: float = 0.0
    confounded: bool = False


def _named(*worlds: World) -> dict[str, World]:
    return {world.name: world for world in worlds}


WORLDS = _named(
    World("independent"),
    World("persistent", outcome_phi=0.6, habit_phi=0.6),
    World("ar1_plus_noise", outcome_phi=0.8, outcome_share=0.6, habit_phi=0.6),
    World("weekend_and_drift", habit_phi=0.3, weekend=0.8, drift=1.0),
    World("reacting", outcome_phi=0.6, habit_phi=0.3, reacts=0.8),
    World("bad_week", outcome_phi=0.3, habit_phi=0.3, bad_week=1.2, confounded=True),
    World("skewed", outcome_phi=0.3, habit_phi=0.3, skewed=True),
    World("sensor_steps", outcome_phi=0.3, habit_phi=0.6, sensor_step=1.0),
    World("fading_logs", outcome_phi=0.4, habit_phi=0.4, drift=0.5, fading=0.6),
    World(
        "missing_by_outcome",
        outcome_phi=0.4,
        habit_phi=0.4,
        missing_by_outcome=0.3,
        confounded=True,
    ),
)

WEEKLY = _named(*(World(f"weekly_{size:g}", weekly=size) for size in (0.35, 0.7, 1.4)))
"""A client's own weekly routine: glucose has weekdays, five habits have others, neither knows."""

UNEVEN = _named(*(World(f"uneven_{times:g}", uneven=times) for times in (2.0, 3.0)))
"""Days with one rare habit scatter further, and are no higher."""

HOSTILE = _named(
    World("own_changes", outcome_phi=0.3, habit_phi=0.3, change=1.2),
    World(
        "shared_change",
        outcome_phi=0.3,
        habit_phi=0.3,
        change=1.2,
        changes_together=True,
        confounded=True,
    ),
    World("waves", outcome_phi=0.3, habit_phi=0.3, wave=1.0),
    World("noted_on_bad_days", outcome_phi=0.4, habit_phi=0.4, unnoted=0.6),
    World("pairs", outcome_phi=0.3, habit_phi=0.3, paired=True),
    World("night_dips", outcome_phi=0.3, habit_phi=0.5, dips=1.0),
)
"""What else a month may hold: changes, slow waves, notes on bad days, twins, dips of the sensor."""

ANSWERS = _named(World("answers", outcome_phi=0.3, habit_phi=0.3, answers=0.8))
"""Three habits answer the glucose of the same day: there is something, the other way round."""

EVERY = {**WORLDS, **WEEKLY, **UNEVEN, **HOSTILE, **ANSWERS}
