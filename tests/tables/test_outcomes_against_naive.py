"""The outcomes against a slow implementation that looks at one day at a time, reading by reading.

It is written from the definitions of the rule book alone and shares no code with the table.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from statistics import fmean, median, stdev

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from miner.tables import tabulate

NEED = 0.7
STEP = 5


def inside(points, start, end):
    return [point for point in points if start <= point[0] < end]


def enough(points, start, end):
    return len(points) * STEP / ((end - start).total_seconds() / 60) >= NEED - 1e-9


def smooth(points):
    return [
        (time, median(v for t, v in points if abs((t - time).total_seconds()) <= 450))
        for time, _ in points
    ]


def climb(points):
    best = 0.0
    for i, (first, low) in enumerate(points):
        for later, high in points[i:]:
            if (later - first).total_seconds() <= 3 * 3600:
                best = max(best, high - low)
    return best


def naive(points, nights, date):
    """Return the outcomes of the day that starts on a date; nights by date of waking."""
    here, after = nights.get(date), nights.get(date + timedelta(days=1))
    wakes = sorted(wake.hour * 60 + wake.minute for _, wake in nights.values())
    usual = timedelta(minutes=int(median(wakes)), seconds=round(60 * (median(wakes) % 1)))
    begin = here[1] if here else date + usual
    end = after[1] if after else date + timedelta(days=1) + usual
    out = {}
    hour = (begin - timedelta(hours=1), begin)
    if here and enough(inside(points, *hour), *hour):
        out["wake_glucose"] = median(value for _, value in inside(points, *hour))
    night = here or (date, date + timedelta(hours=6))
    if enough(inside(points, *night), *night):
        out["overnight_mean"] = fmean(value for _, value in inside(points, *night))
    day = inside(points, begin, end)
    if enough(day, begin, end):
        values = [value for _, value in day]
        out["day_mean"] = fmean(values)
        out["variability"] = stdev(values)
        out["minutes_above"] = 1440 * sum(value > 140 for value in values) / len(values)
        smoothed = inside(smooth(points), begin, end)
        out["biggest_rise"] = climb(smoothed)
    return out


def random_month(sensed, seed, days):
    """Return readings five minutes apart with gaps, and nights with some of them missing."""
    rng = np.random.default_rng(seed)
    size = days * 288
    level = 110 + 25 * np.sin(np.arange(size) / rng.uniform(15, 40)) + rng.normal(0, 8, size)
    keep = rng.random(size) > rng.choice([0.0, 0.1, 0.3])
    for _ in range(int(rng.integers(0, 4))):
        start = int(rng.integers(0, size))
        keep[start : start + int(rng.integers(3, 200))] = False
    frame = sensed("2026-03-01", np.round(level, 1))[keep].reset_index(drop=True)
    nights = {}
    for day in range(days + 1):
        if rng.random() < 0.8:
            date = datetime(2026, 3, 1) + timedelta(days=day)
            wake = date + timedelta(minutes=int(rng.integers(5 * 60, 10 * 60)))
            nights[date] = (wake - timedelta(minutes=int(rng.integers(240, 540))), wake)
    return frame, nights


@pytest.mark.parametrize("seed", range(3))
def test_the_random_months_hold_gaps_and_missing_nights(sensed, seed):
    frame, nights = random_month(sensed, seed, 6)
    assert 288 < len(frame) <= 6 * 288
    assert 0 < len(nights) <= 7


@settings(max_examples=12, derandomize=True, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_every_outcome_agrees_with_the_naive_one(make, sensed, rules, seed):
    frame, nights = random_month(sensed, seed, 4)
    if len(nights) < 2:
        return
    sleep = [{"start": start, "end": end} for start, end in nights.values()]
    table = tabulate(make(frame, sleep=sleep), rules, "day")
    points = list(zip(frame["clock"].dt.to_pydatetime(), frame["glucose"], strict=True))
    assert len(table.frame)
    for name in table.frame.index:
        expected = naive(points, nights, pd.Timestamp(name).to_pydatetime())
        got = {column: table.frame.loc[name, column] for column in table.outcomes}
        for column, value in got.items():
            wanted = expected.get(column, np.nan)
            assert value == pytest.approx(wanted, rel=1e-9, nan_ok=True), (name, column)
