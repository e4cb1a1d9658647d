"""Where yes begins, and the client's own higher quarter."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from miner.core.messages import MinerError
from miner.tables import labels, tabulate
from miner.tables.cells import Found, cut, unknown

NAN = float("nan")


def rule(rules, name, at=None):
    return rules.factors["short_sleep"].model_copy(update={"cut": name, "at": at})


def decided(rules, values, name, at=None, usable=None):
    found = [Found(value) if not np.isnan(value) else unknown("not told") for value in values]
    out = cut(found, rule(rules, name, at), usable or [True] * len(values))
    return [None if np.isnan(item.decided) else int(item.decided) for item in out]


def test_fixed_cuts(rules):
    values = [5.9, 6.0, 6.1, NAN]
    assert decided(rules, values, "below", 6) == [1, 0, 0, None]
    assert decided(rules, values, "at_least", 6) == [0, 1, 1, None]
    assert decided(rules, [0, 1, 2, NAN], "present") == [0, 1, 1, None]


def test_own_cuts(rules):
    values = [1.0, 2, 3, 4, 5, 6, 7, 8, 9, NAN]
    # Nine known: quarters at 3 and 7, median 5 (type 7 of Hyndman and Fan).
    assert decided(rules, values, "own_low_quarter") == [1, 1, 0, 0, 0, 0, 0, 0, 0, None]
    assert decided(rules, values, "own_high_quarter") == [0, 0, 0, 0, 0, 0, 0, 1, 1, None]
    assert decided(rules, values, "below_own_median") == [1, 1, 1, 1, 0, 0, 0, 0, 0, None]
    assert decided(rules, values, "above_own_median_by", 3) == [0, 0, 0, 0, 0, 0, 0, 1, 1, None]


def test_a_constant_habit_has_no_quarter(rules):
    assert decided(rules, [5.0] * 9, "own_high_quarter") == [0] * 9
    assert decided(rules, [5.0] * 9, "own_low_quarter") == [0] * 9


def test_seven_known_days_are_too_few_for_an_own_cut(rules):
    assert decided(rules, [1.0, 2, 3, 4, 5, 6, 7], "below_own_median") == [None] * 7
    usable = [True] * 7 + [False]
    assert (
        decided(rules, [1.0, 2, 3, 4, 5, 6, 7, 8], "below_own_median", None, usable) == [None] * 8
    )


def test_what_is_at_least_so_much_is_decided_where_that_is_enough(rules):
    found = [unknown("partly told", floor=70.0), unknown("partly told", floor=50.0)]
    high = [item.decided for item in cut(found, rule(rules, "at_least", 60), [True, True])]
    assert high[0] == 1
    assert np.isnan(high[1])
    low = [item.decided for item in cut(found, rule(rules, "below", 60), [True, True])]
    assert low[0] == 0  # at least 70 is not below 60
    assert np.isnan(low[1])


def test_a_measure_the_rule_book_invents_is_told(make, sensed, rules):
    wrong = rules.factors["short_sleep"].model_copy(update={"measure": "aslep_hours"})
    book = rules.model_copy(update={"factors": rules.factors | {"short_sleep": wrong}})
    client = make(sensed("2026-03-01", np.full(288 * 2, 100.0)))
    with pytest.raises(MinerError, match="Did you mean 'asleep_hours'"):
        tabulate(client, book, "day")


@pytest.mark.parametrize(
    ("name", "change", "told"),
    [("day_meen", {}, "Did you mean 'day_mean'"), ("day_mean", {"window": "noon"}, "one of wake")],
)
def test_an_outcome_the_rule_book_invents_is_told(make, sensed, rules, name, change, told):
    known = rules.outcomes["day_mean"].model_copy(update=change)
    book = rules.model_copy(update={"outcomes": {name: known}})
    with pytest.raises(MinerError, match=told):
        tabulate(make(sensed("2026-03-01", np.full(288 * 2, 100.0))), book, "day")


def quarter(values, sensor=None, **more):
    values = np.array(values, dtype=float)
    sensor = np.array(sensor if sensor is not None else ["A"] * values.size, dtype=object)
    out = labels.worst_quarter(values, sensor, **more)
    return [None if np.isnan(item) else int(item) for item in out]


def test_the_worst_quarter_of_twelve_is_three():
    assert quarter(range(12)) == [0] * 9 + [1] * 3
    assert quarter(range(12), worse="lower") == [1] * 3 + [0] * 9
    assert quarter([*range(11), NAN]) == [0] * 8 + [1] * 3 + [None]


def test_each_sensor_has_its_own_quarter():
    values = [*range(8), *range(100, 108)]
    assert quarter(values, ["A"] * 8 + ["B"] * 8) == ([0] * 6 + [1] * 2) * 2


def test_sensors_of_few_units_are_looked_at_together():
    values = [*range(8), 50, 51, 52, 53, 60, 61, 62, 63]
    sensor = ["A"] * 8 + ["B"] * 4 + ["C"] * 4
    assert quarter(values, sensor) == [0] * 6 + [1] * 2 + [0] * 6 + [1] * 2


def test_too_few_even_together_are_looked_at_beside_all():
    # Eleven units: the quarter begins above place 7.5, so the three of sensor B are in it.
    assert quarter([*range(8), 50, 51, 52], ["A"] * 8 + ["B"] * 3) == [0] * 6 + [1] * 5
    assert quarter([*range(8), -3, -2, -1], ["A"] * 8 + ["B"] * 3)[8:] == [0, 0, 0]


def test_no_label_where_more_than_half_are_equal_or_the_month_is_flat():
    assert quarter([0.0] * 7 + list(range(1, 6))) == [None] * 12
    assert quarter([0.0] * 6 + list(range(1, 7)))[-3:] == [1, 1, 1]
    assert quarter(np.arange(12) / 4, flat_below=5.0) == [None] * 12


def test_equal_minutes_are_ordered_by_the_mean():
    values = [0, 0, 0, 0, 0, 0, 9, 9, 9, 9, 9, 9]
    mean = np.array([1.0, 2, 3, 4, 5, 6, 6, 5, 4, 3, 2, 1])
    assert quarter(values, then=mean) == [0] * 6 + [1] * 3 + [0] * 3
    assert quarter(values) == [0] * 12


@settings(max_examples=40, derandomize=True, deadline=None)
@given(values=st.lists(st.floats(-100, 100), min_size=8, max_size=40, unique=True))
def test_a_quarter_of_distinct_values_is_above_the_numpy_quantile(values):
    got = np.array(quarter(values, largest_share_tied=1.0))
    expected = np.array(values) > np.quantile(values, 0.75)
    assert got.tolist() == expected.astype(int).tolist()


def test_the_table_labels_usable_days_only(make, sensed, rules):
    rng = np.random.default_rng(2)
    day_level = np.repeat(rng.permutation(12) * 10.0, 288)
    client = make(sensed("2026-03-01", 90 + day_level))
    table = tabulate(client, rules, "day")
    frame = table.frame.assign(usable=[True] * 8 + [False] * 4)
    part = dataclasses.replace(table, frame=frame)
    label = labels.higher_quarter(part, "day_mean", rules)
    used = frame["day_mean"].where(frame["usable"])
    assert label.isna().tolist() == [False] * 8 + [True] * 4
    assert label.sum() == 2
    assert set(label.index[label == 1]) == set(used.nlargest(2).index)
    assert label.name == "day_mean"


def test_an_outcome_that_is_not_there_is_told(make, sensed, rules):
    table = tabulate(make(sensed("2026-03-01", np.full(288 * 2, 100.0))), rules, "day")
    with pytest.raises(MinerError, match="no glucose measure 'day_maen' of a day"):
        labels.higher_quarter(table, "day_maen", rules)
