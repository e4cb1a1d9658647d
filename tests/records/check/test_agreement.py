"""By what shift of its clock one stream agrees with another: arrays made with a known shift."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from miner.records.check.cross_checks import (
    RunningTotal,
    shift_of_events,
    shift_of_meals,
    shift_of_movement,
)

NIGHTS = 30
NONE = np.zeros(0)
SHIFTS = (-720, -240, -120, -60, 0, 60, 120, 240, 600)


def nights(seed: int = 0, count: int = NIGHTS) -> tuple[np.ndarray, np.ndarray]:
    """Nights from about 23:00 to about 07:00, half an hour early or late at random."""
    rng = np.random.default_rng(seed)
    day = np.arange(count) * 1440.0
    return day + 1380 + rng.normal(0, 30, count), day + 1860 + rng.normal(0, 30, count)


def steps(start: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Quarter hours of 150 steps while awake, from ten minutes after waking to ten before sleep."""
    at = np.concatenate(
        [np.arange(up + 10, down - 25, 15) for up, down in zip(end[:-1], start[1:], strict=True)]
    )
    return at, at + 15


def moved(shift: float, seed: int = 0) -> RunningTotal:
    start, end = steps(*nights(seed))
    return RunningTotal.of(start + shift, end + shift, np.full(len(start), 150.0))


@pytest.mark.parametrize("shift", SHIFTS)
def test_movement_that_was_shifted_is_shifted_back(shift: int) -> None:
    start, end = nights()
    found = shift_of_movement(start, end, moved(shift), 200)
    if shift == 0:
        assert found is None
        return
    assert found is not None
    assert abs(found.minutes + shift) <= 15
    assert found.then <= 1 < found.now <= found.of == NIGHTS


def test_a_clock_that_is_wrong_for_some_weeks_is_found() -> None:
    """Forty nights by one clock, then thirty an hour late, as where it is not set forward."""
    start, end = nights(1, 70)
    at, until = steps(start, end)
    late = np.where(at > start[40], 60.0, 0.0)
    happened = RunningTotal.of(at - late, until - late, np.full(len(at), 150.0))
    found = shift_of_movement(start, end, happened, 200)
    assert found is not None
    assert found.minutes in (45, 60, 75)
    assert found.first >= start[35]


def test_somebody_up_at_night_is_not_a_wrong_clock() -> None:
    """A parent up at three for an hour each night: no shift makes the nights calm."""
    start, end = nights()
    at, until = steps(start, end)
    feed = start + 240
    happened = RunningTotal.of(
        np.concatenate([at, feed]),
        np.concatenate([until, feed + 60]),
        np.concatenate([np.full(len(at), 150.0), np.full(len(feed), 400.0)]),
    )
    assert shift_of_movement(start, end, happened, 200) is None


@pytest.mark.parametrize("shift", [-240, -120, 0, 420])
def test_meals_in_the_night_are_shifted_out_of_it(shift: int) -> None:
    start, end = nights()
    eaten = np.concatenate([end[:-1] + 30, end[:-1] + 330, end[:-1] + 720]) + shift
    found = shift_of_events(start, end, RunningTotal.of(eaten, eaten, np.ones(len(eaten))), 0.5)
    if shift == 0:
        assert found is None
        return
    assert found is not None
    assert np.sign(found.minutes) == -np.sign(shift)
    assert 45 <= abs(found.minutes) <= abs(shift)
    assert found.then <= found.now / 3


def glucose_after(eaten: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Readings each five minutes: a hill of 50 mg/dL after each meal, with noise."""
    minutes = np.arange(0, NIGHTS * 1440.0, 5)
    since = minutes[:, None] - eaten
    hill = np.where((since > 0) & (since < 180), 50 * np.sin(np.pi * since / 180), 0).sum(axis=1)
    return minutes, 100 + hill + np.random.default_rng(0).normal(0, 5, len(minutes))


@pytest.mark.parametrize("shift", SHIFTS)
def test_meals_are_shifted_back_to_where_glucose_rises(shift: int) -> None:
    rng = np.random.default_rng(3)
    day = np.arange(NIGHTS) * 1440.0
    eaten = np.sort(
        np.concatenate([day + at + rng.normal(0, 40, NIGHTS) for at in (480, 780, 1140)])
    )
    minutes, glucose = glucose_after(eaten)
    found = shift_of_meals(eaten + shift, minutes, glucose)
    if shift == 0:
        assert found is None
        return
    assert found is not None
    assert abs((found.minutes + shift + 720) % 1440 - 720) <= 30
    assert found.then > 2 * found.now


def test_meals_after_which_nothing_rises_tell_of_no_clock() -> None:
    rng = np.random.default_rng(4)
    eaten = np.sort(rng.uniform(0, NIGHTS * 1440.0, 120))
    minutes, glucose = glucose_after(np.zeros(0))
    assert shift_of_meals(eaten, minutes, glucose) is None


def test_too_little_tells_of_no_clock() -> None:
    start, end = nights()
    nothing = RunningTotal.of(NONE, NONE, NONE)
    for look in (shift_of_movement, shift_of_events):
        assert look(start, end, nothing, 200) is None
        assert look(start[:6], end[:6], moved(240), 200) is None
        assert look(start, start + 100, moved(240), 200) is None
    assert shift_of_meals(start[:20], start, start) is None
    assert shift_of_meals(start, NONE, NONE) is None


@given(
    st.lists(
        st.tuples(st.integers(0, 500), st.integers(1, 60), st.integers(0, 9)),
        min_size=1,
        max_size=12,
    ),
    st.integers(-50, 600),
    st.integers(0, 300),
)
def test_amounts_are_those_of_each_minute(
    rows: list[tuple[int, int, int]], low: int, length: int
) -> None:
    """Against adding up, minute by minute, what each row spreads over its length."""
    each = np.zeros(2000)
    for start, minutes, amount in rows:
        each[start + 100 : start + minutes + 100] += amount / minutes
    start, minutes, amount = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
    found = RunningTotal.of(start, start + minutes, amount).between(
        np.array([float(low)]), np.array([float(low + length)])
    )
    assert found[0] == pytest.approx(each[low + 100 : low + length + 100].sum(), abs=1e-6)
