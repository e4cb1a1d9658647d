"""Lows that may be pressure: sudden, flat, asleep, and gone as suddenly."""

from __future__ import annotations

import numpy as np
import pytest

from miner.tables.pressure import pressure_lows

NIGHT = [(0.0, 480.0)]
MINUTES = np.arange(-60.0, 541.0, 5.0)


def low(start, end, depth, fall_min=10, back_min=10, level=100.0):
    """A trapezoid: level, down over fall_min, flat, back over back_min."""
    at = [start, start + fall_min, end - back_min, end]
    return np.interp(
        MINUTES, [-1000, *at, 1000], [level, level, level - depth, level - depth, level, level]
    )


def test_a_flat_sudden_low_in_the_night_is_found_once():
    found = pressure_lows(MINUTES, low(120, 180, 40), NIGHT)
    assert len(found) == 1
    assert found[0].lowest == 60
    assert 120 <= found[0].start <= 130
    assert 170 <= found[0].end <= 180


@pytest.mark.parametrize(
    "values",
    [
        np.full(MINUTES.size, 100.0),
        low(120, 180, 18),  # too shallow
        low(120, 240, 40, fall_min=60),  # a slow fall
        low(120, 240, 40, back_min=90),  # a slow return
        low(120, 300, 40),  # three hours
        low(120, 560, 40),  # never comes back while it is watched
    ],
    ids=["flat", "shallow", "slow fall", "slow return", "long", "no return"],
)
def test_what_does_not_look_like_it(values):
    assert pressure_lows(MINUTES, values, NIGHT) == ()


def test_awake_it_is_none():
    assert pressure_lows(MINUTES, low(120, 180, 40), [(200.0, 480.0)]) == ()
    assert pressure_lows(MINUTES, low(120, 180, 40), []) == ()
    assert pressure_lows(np.empty(0), np.empty(0), NIGHT) == ()


def test_two_in_one_night():
    both = np.minimum(low(60, 110, 40), low(300, 360, 35))
    assert [item.lowest for item in pressure_lows(MINUTES, both, NIGHT)] == [60, 65]


def test_thresholds_are_arguments():
    values = low(120, 180, 18)
    assert len(pressure_lows(MINUTES, values, NIGHT, fall=12, rebound=12, flat=6)) == 1
