import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from miner.tables.glucose.rises import running_median, turning_points

distinct = st.lists(st.integers(40, 300), min_size=3, max_size=60, unique=True)


# scipy.signal: the peaks whose topographic prominence is at least the threshold.
@settings(derandomize=True, max_examples=300, deadline=None)
@given(distinct, st.integers(1, 60))
def test_the_peaks_are_those_prominent_enough(values, least):
    from scipy.signal import argrelmax, peak_prominences

    v = np.array(values, float)
    tops = argrelmax(v)[0]
    expected = tops[peak_prominences(v, tops)[0] >= least]
    found = turning_points(v, least)
    fallen = [peak for _, peak in found if v[peak] - v[peak:].min() >= least]
    assert fallen == expected.tolist()
    assert [peak for _, peak in found][: len(fallen)] == fallen
    assert len(found) - len(fallen) in (0, 1)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(st.lists(st.integers(0, 40), min_size=1, max_size=60), st.integers(1, 20))
def test_a_climb_goes_from_the_last_lowest_to_the_first_highest(values, least):
    v = np.array(values, float)
    end = -1
    for low, high in turning_points(v, least):
        before = v[end + 1 : high + 1]
        assert v[high] - v[low] >= least
        assert v[low] == before.min()
        assert low == np.flatnonzero(v[:high] == v[low])[-1]
        assert v[low : high + 1].argmax() == high - low
        end = high


def test_nothing_turns_in_a_flat_or_falling_series():
    assert turning_points(np.array([]), 1) == ()
    assert turning_points(np.full(9, 5.0), 1) == ()
    assert turning_points(np.arange(9.0)[::-1], 1) == ()
    assert turning_points(np.array([1, 1, 5, 5.0]), 4) == ((1, 2),)


@pytest.mark.parametrize("cadence", [1, 2.5, 5, 7.5, 15])
def test_the_median_is_over_minutes_not_rows(cadence):
    chance = np.random.default_rng(3)
    t = np.cumsum(cadence * chance.integers(1, 3, 80))
    v = chance.normal(100, 20, 80)
    naive = [np.median(v[np.abs(t - at) <= 7.5]) for at in t]
    assert running_median(t, v, 15).tolist() == naive
    assert running_median(t, v, 0).tolist() == v.tolist()
