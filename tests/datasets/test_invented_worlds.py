"""The invented clients are what they say: bands of the latent glucose, habits, null and effects."""

import importlib.util
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from miner.core import resources

spec = importlib.util.spec_from_file_location(
    "invented_outcomes", Path(__file__).with_name("invented_outcomes.py")
)
shared = importlib.util.module_from_spec(spec)
spec.loader.exec_module(shared)
outcomes, paired = shared.outcomes, shared.paired
invented = resources.invented()

NIGHTLY = ("short_sleep", "broken_sleep")


@cache
def null_worlds(n=100):
    return [invented.simulate(invented.null_scenario(seed)) for seed in range(n)]


def lag_one(values):
    return np.corrcoef(values[:-1], values[1:])[0, 1]


def test_glucose_lies_in_the_bands_of_the_trade():
    shown = [world.glucose.shown for world in null_worlds()]
    found = [outcomes(world) for world in null_worlds()]
    # Raised glucose: between Shah et al. 2019 (98-99 without diabetes) and the cut of diabetes.
    assert 105 <= np.mean([np.nanmean(one) for one in shown]) <= 115
    # CV 17 %, SD 3: Shah et al. 2019, J Clin Endocrinol Metab 104:4356.
    assert 0.15 <= np.mean([np.nanstd(one) / np.nanmean(one) for one in shown]) <= 0.19
    # Night-to-night SD of waking glucose 7.5, SD 4.3: Shilo et al. 2024, Nat Med.
    spread = []
    for world in null_worlds():
        time, seen = world.glucose.time, world.glucose.shown
        hours = [seen[(time > w - 60) & (time <= w)] for w in world.nights.wake[1:]]
        spread.append(np.std([np.nanmedian(h) for h in hours if np.isfinite(h).sum() > 8], ddof=1))
    assert 6.5 <= np.mean(spread) <= 8.5
    above = [np.nanmean(one["minutes_above"] > 0) for one in found]
    assert np.mean(np.array(above) > 0.5) > 0.95


@pytest.mark.prove
def test_level_of_the_day_persists_as_asked():
    for asked in (0.0, 0.5, 0.8):
        scenarios = (invented.null_scenario(s, 200, persistence=asked) for s in range(30))
        found = [lag_one(invented.simulate(one).levels) for one in scenarios]
        # A lag-one correlation of n values is low by (1 + 3 r) / n on average (Kendall 1954).
        assert np.mean(found) == pytest.approx(asked - (1 + 3 * asked) / 200, abs=0.04)


def test_habits_come_as_often_and_persist_as_asked():
    worlds = [invented.simulate(invented.null_scenario(seed, 300)) for seed in range(30)]
    for name, habit in invented.usual_habits().items():
        if name == "walk_after_breakfast":
            continue
        flags = [world.happened[name].astype(float) for world in worlds]
        assert np.mean(flags) == pytest.approx(habit.frequency, abs=0.03), name
        assert np.mean([lag_one(one) for one in flags]) == pytest.approx(
            habit.persistence, abs=0.05
        ), name


def test_a_habit_with_an_effect_happens_about_as_often_as_asked_in_every_client():
    for seed in range(60):
        world = invented.simulate(invented.effect_scenario(seed, "short_sleep", 12.0))
        assert 0.22 - 1e-9 <= world.happened["short_sleep"][1:-1].mean() <= 0.38 + 1e-9


def test_a_habit_that_always_comes_with_another_is_the_same_days():
    pair = invented.demo_scenarios()[4]
    world = invented.simulate(pair)
    assert 5 <= world.happened["late_dinner"].sum() <= 30
    np.testing.assert_array_equal(world.happened["late_dinner"], world.happened["tag:wine"])


def test_where_nothing_is_true_no_habit_goes_with_what_follows_it():
    found = [outcomes(world) for world in null_worlds()]
    z = {}
    for name in invented.usual_habits():
        for outcome in found[0]:
            next_row = outcome in ("wake_glucose", "overnight_mean")
            if name in NIGHTLY and outcome == "overnight_mean":
                continue
            lag = int(next_row and name not in NIGHTLY)
            r = []
            for world, one in zip(null_worlds(), found, strict=True):
                x, y = paired(world.happened[name], one[outcome], lag)
                if 0 < x.mean() < 1:
                    r.append(np.corrcoef(x, y)[0, 1])
            z[name, outcome] = np.mean(r) / (np.std(r, ddof=1) / np.sqrt(len(r)))
    z = np.array(list(z.values()))
    # 74 standard normal values, many of them related: |z| over 3.5 has chance 74 * 0.0005 = 3 %.
    assert np.abs(z).max() < 3.5
    assert np.mean(np.abs(z) > 1.96) < 0.2


@pytest.mark.prove
def test_reactive_habits_follow_a_high_day_and_are_blind_to_what_comes_next():
    for name in ("late_dinner", "much_stress", "tag:wine", "short_sleep"):
        back = 2 if name in NIGHTLY else 1
        flags, past, shocks = [], [], []
        for seed in range(100):
            world = invented.simulate(invented.null_scenario(seed, reactive=True))
            phi, levels = world.scenario.persistence, world.levels
            flags.append(world.happened[name][back:])
            past.append(levels[: len(levels) - back])
            shocks.append((levels[1:] - phi * levels[:-1])[: len(levels) - back])
        flags, past, shocks = (np.concatenate(part) for part in (flags, past, shocks))
        assert np.corrcoef(flags, past)[0, 1] > 0.2, name
        assert abs(np.corrcoef(flags, shocks)[0, 1]) < 3 / np.sqrt(len(flags)), name


EFFECTS = [
    ("short_sleep", "wake_glucose", 12.0),
    ("late_dinner", "overnight_mean", 14.0),
    ("tag:wine", "wake_glucose", 9.0),
    ("much_stress", "day_mean", 6.0),
    ("short_sleep", "day_mean", 5.0),
]


@pytest.mark.parametrize(("factor", "outcome", "size"), EFFECTS)
def test_an_effect_moves_its_outcome_by_its_size_and_nothing_on_other_days(factor, outcome, size):
    effect = invented.Effect(factor, outcome, size)
    plain = invented.null_scenario(3, 60)
    world = invented.simulate(replace(plain, effects=(effect,)))
    none = invented.simulate(replace(plain, effects=(replace(effect, size=0.0),)))
    moved = outcomes(world)[outcome] - outcomes(none)[outcome]
    yes, shift = paired(world.happened[factor], moved, effect.lag_days)
    assert yes.sum() > 5
    assert shift[yes == 1] == pytest.approx(size, abs=0.02 * size)
    assert shift[yes == 0] == pytest.approx(0, abs=0.01 * size)


def test_a_dose_moves_the_morning_by_its_size_for_each_hour_less_than_seven():
    effect = invented.Effect("short_sleep", "wake_glucose", 11.0, dose=True)
    plain = invented.null_scenario(3, 60, sleep_spread=2.0)
    world = invented.simulate(replace(plain, effects=(effect,)))
    none = invented.simulate(plain)
    moved = outcomes(world)["wake_glucose"] - outcomes(none)["wake_glucose"]
    hours, shift = paired(world.nights.asleep / 60, moved, 0)
    assert shift == pytest.approx(11.0 * (7 - hours), abs=0.3)
    assert hours.std() > 1
    with pytest.raises(ValueError, match="only sleep has a dose"):
        replace(plain, effects=(invented.Effect("late_dinner", "wake_glucose", 1.0, dose=True),))


def test_effects_on_the_night_and_on_the_morning_leave_each_other_alone():
    base, after = (
        outcomes(invented.simulate(invented.effect_scenario(4, "late_dinner", size, 60)))
        for size in (0.0, 14.0)
    )
    assert np.nanmax(np.abs(after["wake_glucose"] - base["wake_glucose"])) < 0.5


@pytest.mark.parametrize(
    ("factor", "outcome", "size"),
    [("short_sleep", "wake_glucose", 12.0), ("late_dinner", "overnight_mean", 14.0)],
)
def test_the_mean_difference_over_many_clients_is_the_stated_size(factor, outcome, size):
    found = []
    for seed in range(60):
        world = invented.simulate(invented.effect_scenario(seed, factor, size))
        lag = int(factor == "late_dinner")
        yes, values = paired(world.happened[factor], outcomes(world)[outcome], lag)
        found.append(values[yes == 1].mean() - values[yes == 0].mean())
    error = np.std(found, ddof=1) / np.sqrt(len(found))
    assert error < 0.6
    assert np.mean(found) == pytest.approx(size, abs=2.5 * error)


def test_a_walk_shrinks_the_rise_after_that_meal_by_its_share():
    effect = invented.Effect("walk_after_dinner", "rise", -0.3)
    plain = invented.null_scenario(5)
    flat = invented.simulate(replace(plain, meal_size=0.0)).glucose.latent
    usual = invented.simulate(plain).glucose
    world = invented.simulate(replace(plain, effects=(effect,)))
    assert world.happened["walk_after_dinner"].any()
    for row in range(1, plain.days + 1):
        evening = (usual.time > row * 1440 + 1100) & (usual.time < row * 1440 + 1320)
        rise, walked = (usual.latent - flat)[evening], (world.glucose.latent - flat)[evening]
        share = 0.7 if world.happened["walk_after_dinner"][row] else 1.0
        assert walked.max() / rise.max() == pytest.approx(share, abs=0.02)


def test_a_rise_peaks_as_published_and_is_over_before_the_night():
    flat = invented.simulate(invented.null_scenario(6, meal_size=0.0)).glucose.latent
    world = invented.simulate(invented.null_scenario(6))
    rise = world.glucose.latent - flat
    clock = world.glucose.time % 1440
    assert rise[(clock > 22 * 60 + 20) | (clock < 6 * 60)].max() == 0
    linked = invented.simulate(invented.null_scenario(6, linked_meals=True))
    food = linked.glucose.latent - flat
    at = linked.meals.time[linked.meals.meal == "lunch"][1:-1]
    near = [(linked.glucose.time >= t) & (linked.glucose.time < t + 120) for t in at]
    after = [linked.glucose.time[m][np.argmax(food[m])] - t for m, t in zip(near, at, strict=True)]
    # Usual peak 46 to 50 minutes: Freckmann et al. 2007, J Diabetes Sci Technol; grid 5 minutes.
    assert 45 <= np.median(after) <= 51


def test_logged_food_moves_nothing_where_meals_are_not_linked():
    plain = invented.null_scenario(7)
    often = dict(plain.habits) | {
        "late_dinner": invented.Habit(0.9),
        "no_breakfast": invented.Habit(0.8),
    }
    same = invented.simulate(plain).glucose.latent
    np.testing.assert_array_equal(
        same, invented.simulate(replace(plain, habits=often)).glucose.latent
    )


def test_waking_hardly_depends_on_the_length_of_the_night():
    gaps = []
    for world in null_worlds():
        short, clock = world.happened["short_sleep"], world.nights.wake % 1440
        gaps.append(clock[short].mean() - clock[~short].mean())
        in_bed = world.nights.wake - world.nights.bed
        np.testing.assert_array_equal(world.nights.asleep + world.nights.awake, in_bed)
        assert (world.nights.bed % 1440 >= 22 * 60 + 40).sum() + (
            world.nights.bed % 1440 < 5 * 60
        ).sum() == len(in_bed)
    assert abs(np.mean(gaps)) < 20


def test_impossible_scenarios_are_refused():
    wrong = [
        {"days": 0},
        {"cadence": 7},
        {"habits": {}},
        {"effects": (invented.Effect("rain", "day_mean", 3.0),)},
        {"effects": (invented.Effect("late_dinner", "rise", 3.0),)},
        {"days": 3, "messy": True},
        {"habits": invented.usual_habits() | {"tag:tea": invented.Habit(0.2, together="tag:tea")}},
    ]
    for fields in wrong:
        with pytest.raises(ValueError, match=r"\w"):
            invented.Scenario("client-01", **fields)
    with pytest.raises(ValueError, match="at least one"):
        invented.scenarios(0)
