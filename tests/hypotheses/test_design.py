from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_tables import NAN, RULES, day_table, meal_rules, meal_table

from miner.core.period import Period
from miner.hypotheses.design import design, lagged
from miner.stats.effects import independent
from miner.stats.scores import combine

RNG = np.random.default_rng(0)


# Contract, section 2: "After a gap a lagged factor is unknown."
def test_the_day_after_a_gap_does_not_know_the_habit_of_the_day_before():
    table = day_table({"wake_glucose": RNG.normal(size=6)}, {"late_dinner": [1, 0, 1, 1, NAN, 0]},
                      numbers=[0, 1, 3, 4, 5, 9])  # fmt: skip
    np.testing.assert_array_equal(lagged(table.frame, "late_dinner", 1), [NAN, 1, NAN, 1, 1, NAN])
    np.testing.assert_array_equal(lagged(table.frame, "late_dinner", 2), [NAN, NAN, 0, NAN, 1, NAN])
    np.testing.assert_array_equal(lagged(table.frame, "late_dinner", 0), [1, 0, 1, 1, NAN, 0])
    assert lagged(table.frame.iloc[:0], "late_dinner", 1).shape == (0,)


# Contract, section 2: the outcomes of row D's night are preceded by the habits of row D-1, those
# of row D's day by row D's sleep; habits and outcomes of one waking day are of the same day; a
# sleep factor never meets the night glucose of the same night.
def test_lags_and_relations_are_those_of_the_contract():
    outcomes = {
        name: RNG.normal(size=25) for name in ("wake_glucose", "overnight_mean", "day_mean")
    }
    factors = {name: RNG.integers(0, 2, 25) for name in ("short_sleep", "late_dinner", "tag:rain")}
    plan = design(day_table(outcomes, factors), RULES)
    found = {
        (target.name, item.factor): (item.lag, item.relation)
        for target in plan.targets
        for item in target.items
    }
    assert found == {
        ("wake_glucose", "short_sleep"): (0, "precedes"),
        ("wake_glucose", "late_dinner"): (1, "precedes"),
        ("wake_glucose", "tag:rain"): (1, "precedes"),
        ("overnight_mean", "late_dinner"): (1, "precedes"),
        ("overnight_mean", "tag:rain"): (1, "precedes"),
        ("day_mean", "short_sleep"): (0, "precedes"),
        ("day_mean", "late_dinner"): (0, "same_day"),
        ("day_mean", "tag:rain"): (0, "same_day"),
    }
    item = next(i for i in plan.target("wake_glucose").items if i.factor == "late_dinner")
    np.testing.assert_array_equal(item.values, [NAN, *factors["late_dinner"][:-1]])


# A day left out is no unit, but the habit noted on it still comes before the next morning.
def test_a_day_left_out_still_lends_its_habits_to_the_next_morning():
    usable = np.ones(8, dtype=bool)
    usable[[2, 5]] = False
    table = day_table({"wake_glucose": np.arange(8.0)}, {"late_dinner": [0, 0, 1, 0, 0, 1, 0, 0]},
                      usable=usable)  # fmt: skip
    plan = design(table, RULES)
    assert plan.left_out == 2
    assert len(plan.names) == 6
    np.testing.assert_array_equal(plan.targets[0].items[0].values, [NAN, 0, 1, 0, 1, 0])


def test_dates_are_inclusive_and_days_outside_are_not_left_out_days():
    usable = np.ones(10, dtype=bool)
    usable[[0, 4]] = False
    table = day_table({"day_mean": np.arange(10.0)}, {"late_dinner": np.ones(10)}, usable=usable)
    plan = design(table, RULES, Period("2026-03-03", "2026-03-08"))
    assert plan.names[0] == "2026-03-03"
    assert plan.names[-1] == "2026-03-08"
    assert (len(plan.names), plan.left_out) == (5, 1)


# Method, step 5: weekend, straight drift, one level a known sensor with at least five usable days.
def test_nuisance_of_days():
    sensor = np.array(["a"] * 12 + ["b"] * 9 + ["c"] * 4 + [""] * 7)
    table = day_table({"day_mean": np.arange(32.0)}, {}, sensor=sensor)
    plan = design(table, RULES)
    assert plan.nuisance_names == ("intercept", "weekend", "drift", "sensor a", "sensor b")
    weekend = [day % 7 in (5, 6) for day in range(32)]  # the first day is a Monday
    np.testing.assert_array_equal(plan.nuisance[:, 1], weekend)
    np.testing.assert_allclose(plan.nuisance[:, 2], np.arange(32) - 15.5)
    np.testing.assert_array_equal(plan.nuisance[:, 3:], np.stack([sensor == "a", sensor == "b"], 1))
    usable = np.arange(32) != 14
    usable[12:17] = False
    fewer = design(replace(table, frame=table.frame.assign(usable=usable)), RULES)
    assert "sensor b" not in fewer.nuisance_names


def test_one_sensor_worn_throughout_is_no_nuisance_of_its_own():
    plan = design(day_table({"day_mean": np.arange(20.0)}, {}), RULES)
    assert independent(plan.nuisance) == [0, 1, 2]


# For meals also: which meal of the day and the carbohydrate, when known.
def test_nuisance_of_meals():
    table = meal_table(10, per_day=3)
    table.frame.loc[table.frame.index[4], "carbs_g"] = NAN
    plan = design(table, meal_rules())
    assert plan.nuisance_names == (
        "intercept", "weekend", "drift", "sensor a", "meal dinner", "meal lunch", "carbohydrate",
        "carbohydrate unknown",
    )  # fmt: skip
    carbs = plan.nuisance[:, 6]
    assert carbs[4] == 0
    assert carbs.sum() == pytest.approx(0)
    np.testing.assert_array_equal(plan.nuisance[:, 7], np.arange(30) == 4)
    assert plan.times.tolist() == table.frame["day_number"].tolist()
    unknown = replace(table, frame=table.frame.assign(carbs_g=NAN))
    assert "carbohydrate" not in design(unknown, meal_rules()).nuisance_names


# The level a meal begins at, where the table has it.
def test_the_level_before_a_meal_is_nuisance_where_it_is_known():
    table = meal_table(10, per_day=3)
    level = np.arange(30.0)
    level[7] = NAN
    plan = design(replace(table, frame=table.frame.assign(baseline=level)), meal_rules())
    at = plan.nuisance_names.index("baseline")
    assert plan.nuisance_names[at + 1] == "baseline unknown"
    expected = np.nan_to_num(level - np.nanmean(level))
    np.testing.assert_allclose(plan.nuisance[:, at], expected)
    np.testing.assert_array_equal(plan.nuisance[:, at + 1], np.arange(30) == 7)


def test_a_table_without_days_gives_an_empty_design():
    table = day_table({"day_mean": np.arange(3.0)}, {"late_dinner": [0, 1, 0]}, usable=False)
    plan = design(table, RULES)
    assert (plan.names, plan.left_out, plan.nuisance.shape[0]) == ((), 3, 0)


ANSWERS = {"no": 0.0, "yes": 1.0, "unknown": NAN}


# Kleene's strong logic of three values: Kleene 1952, Introduction to Metamathematics, section 64.
@pytest.mark.parametrize(
    ("left", "right", "both"),
    [
        ("yes", "yes", "yes"), ("yes", "no", "no"), ("no", "no", "no"),
        ("yes", "unknown", "unknown"), ("no", "unknown", "no"), ("unknown", "unknown", "unknown"),
    ],
)  # fmt: skip
def test_and_of_three_values(left, right, both):
    for one, other in ((left, right), (right, left)):
        found = combine([np.array([ANSWERS[one]]), np.array([ANSWERS[other]])])
        np.testing.assert_array_equal(found, [ANSWERS[both]])


# Whatever the unknown turns out to be, a known AND stays as it was.
@settings(derandomize=True, deadline=None, max_examples=60)
@given(st.lists(st.sampled_from([0.0, 1.0, NAN]), min_size=2, max_size=3))
def test_and_is_known_only_if_no_answer_could_change_it(row):
    found = combine([np.array([value]) for value in row])[0]
    filled = [[value] if value == value else [0.0, 1.0] for value in row]
    outcomes = {min(choice) for choice in _choices(filled)}
    if len(outcomes) == 1:
        assert found == outcomes.pop()
    else:
        assert np.isnan(found)


def _choices(sides):
    if not sides:
        return [()]
    return [(value, *rest) for value in sides[0] for rest in _choices(sides[1:])]
