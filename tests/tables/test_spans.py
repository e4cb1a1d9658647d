"""Spans of time against counting second by second."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from miner.tables.movement.tracker import NOTHING, Spans

EPISODE = st.tuples(
    st.integers(0, 90), st.integers(0, 40), st.none() | st.floats(0, 1.5, allow_nan=False)
)


@settings(deadline=None, derandomize=True, max_examples=80)
@given(st.lists(EPISODE, max_size=7), st.integers(0, 130), st.integers(0, 130))
def test_minutes_are_those_counted_second_by_second(episodes, one, two):
    start = np.array([first for first, _, _ in episodes], dtype=np.int64)
    end = start + np.array([length for _, length, _ in episodes], dtype=np.int64)
    told = np.array([np.nan if part is None else part for _, _, part in episodes])
    spans = Spans.of(start, end, [("f", k) for k in range(len(episodes))], told)
    density = np.zeros(140)
    for first, length, part in episodes:
        share = 1.0 if part is None or length == 0 else min(part * 60 / length, 1.0)
        density[first : first + length] += share
    begin, finish = min(one, two), max(one, two)
    counted = np.minimum(density, 1)[begin:finish].sum() / 60
    assert spans.minutes(begin, finish) == pytest.approx(counted, abs=1e-9)
    over = {("f", k) for k, (a, n, _) in enumerate(episodes) if a < finish and a + n > begin}
    assert set(spans.rows(begin, finish)) == over
    assert spans.touch(begin, finish) is bool(over)


def test_nothing_covers_nothing():
    assert NOTHING.minutes(0, 100) == 0
    assert not NOTHING.touch(0, 100)
    assert NOTHING.rows(0, 100) == ()


def test_ten_minutes_after_a_month_of_blocks_are_ten_minutes():
    # a cut asks for 10 or more; sums of thousands of thirds of minutes are a hair off
    rng = np.random.default_rng(4)
    start, told = np.arange(0, 400 * 900, 900), rng.integers(1, 15, 400).astype(float)
    kept = rng.random(400) < 0.4
    start, told = start[kept], told[kept]
    spans = Spans.of(start, start + 900, [("f", k) for k in range(len(start))], told)
    assert [spans.minutes(at, at + 900) for at in start.tolist()] == told.tolist()
