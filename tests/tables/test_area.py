import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from miner.tables.glucose.rises import incremental_area

FAO = Path(__file__).parents[2] / "datasets" / "reference" / "b_iauc_fao.csv"
TIMES = np.array([0, 15, 30, 45, 60, 90, 120.0])
ROWS = list(csv.DictReader(FAO.open(encoding="utf-8")))


def curve(row):
    return np.array([float(row[f"t{int(t)}min"]) for t in TIMES])


# FAO Food and Nutrition Paper 66 (1998), annex 1: three standards and a test food.
@pytest.mark.parametrize("row", ROWS, ids=[row["curve"] for row in ROWS])
def test_the_four_curves_of_the_fao(row):
    values = curve(row)
    area = incremental_area(TIMES, values, values[0])
    assert area == pytest.approx(float(row["iauc_published_int"]), abs=0.5)
    assert area == pytest.approx(float(row["iauc_exact"]), abs=1e-6)


@pytest.mark.parametrize("row", [ROWS[0], ROWS[2]], ids=["standard 1", "standard 3"])
def test_the_two_wrong_ways_give_another_answer(row):
    values = curve(row)
    d = values - values[0]
    signed, clamped = np.trapezoid(d, TIMES), np.trapezoid(np.maximum(d, 0), TIMES)
    assert signed == pytest.approx(float(row["net_iauc_signed"]), abs=1e-6)
    assert clamped == pytest.approx(float(row["clamped_trapezoid_no_crossing_WRONG"]), abs=1e-6)
    area = incremental_area(TIMES, values, values[0])
    assert abs(area - signed) > 0.4
    assert abs(area - clamped) > 0.4


def test_closed_forms():
    t = np.array([0, 60, 120.0])
    # a triangle of base 120 and height 50; one that dips as far below as it was above
    assert incremental_area(t, np.array([100, 150, 100.0]), 100) == pytest.approx(3000)
    assert incremental_area(t, np.array([110, 90, 110.0]), 100) == pytest.approx(300)
    assert incremental_area(t, np.array([90, 80, 99.9]), 100) == 0
    # cut at 30 minutes, between readings: base 30, height 25
    assert incremental_area(t, np.array([100, 150, 100.0]), 100, 30) == pytest.approx(375)
    assert incremental_area(t, np.array([100, 150, 100.0]), 100, 0) == 0


def test_readings_around_the_window_draw_the_line_at_its_ends():
    t = np.array([-10, 10, 110, 130.0])
    assert incremental_area(t, np.array([10, 30, 30, 10.0]), 0) == pytest.approx(
        2 * 10 * 25 + 100 * 30
    )


def test_what_does_not_reach_or_is_not_there_is_undefined():
    t, v = np.array([0, 60, 120.0]), np.array([5, 6, 5.0])
    for minutes, values, baseline, until in [
        (t, v, 5, 121),
        (t + 1, v, 5, 100),
        (t, np.array([5, 6, np.nan]), 5, 120),
        (t, v, np.nan, 120),
        (t[:0], v[:0], 5, 120),
    ]:
        assert np.isnan(incremental_area(minutes, values, baseline, until))
    assert np.isnan(incremental_area(t, v, 5, longest_gap=59))
    assert incremental_area(t, v, 5, longest_gap=60) == pytest.approx(60)
    with pytest.raises(ValueError, match="unusable values"):
        incremental_area(t, v[:2], 5)
    with pytest.raises(ValueError, match="unusable values"):
        incremental_area(t, v, 5, -1)


@st.composite
def curves(draw):
    steps = draw(st.lists(st.integers(1, 30), min_size=1, max_size=20))
    t = np.concatenate(([0.0], np.cumsum(steps, dtype=float)))
    v = draw(st.lists(st.integers(40, 300), min_size=len(t), max_size=len(t)))
    return t, np.array(v, float), draw(st.floats(30, 310))


@settings(derandomize=True, max_examples=150, deadline=None)
@given(curves())
def test_it_agrees_with_a_dense_sum(case):
    t, v, baseline = case
    x = np.linspace(0, t[-1], 200_001)
    dense = np.trapezoid(np.maximum(np.interp(x, t, v) - baseline, 0), x)
    assert incremental_area(t, v, baseline, t[-1]) == pytest.approx(dense, rel=1e-5, abs=1e-2)


@settings(derandomize=True, max_examples=150, deadline=None)
@given(curves(), st.randoms(use_true_random=False))
def test_it_keeps_its_symmetries(case, chance):
    t, v, baseline = case
    area = incremental_area(t, v, baseline, t[-1])
    close = pytest.approx(area, rel=1e-9, abs=1e-6)
    order = chance.sample(range(len(t)), len(t))
    middle = (t[:-1] + t[1:]) / 2
    assert incremental_area(t[-1] - t, v, baseline, t[-1]) == close
    assert incremental_area(t, v + 50, baseline + 50, t[-1]) == close
    assert incremental_area(2 * t, v / 2, baseline / 2, 2 * t[-1]) == close
    assert incremental_area(t[order], v[order], baseline, t[-1]) == close
    assert (
        incremental_area(
            np.append(t, middle), np.append(v, np.interp(middle, t, v)), baseline, t[-1]
        )
        == close
    )
    below = incremental_area(t, -v, -baseline, t[-1])
    assert area - below == pytest.approx(np.trapezoid(v - baseline, t), rel=1e-9, abs=1e-6)


def test_the_arrays_are_left_as_they_were():
    t, v = np.array([60, 0, 120.0]), np.array([6, np.nan, 5.0])
    incremental_area(t, v, 5)
    assert t.tolist() == [60, 0, 120]
    assert np.isnan(v[1])
