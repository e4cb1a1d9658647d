"""A sampled level: its episodes, what was measured, and a tracker that lay in a drawer."""

from collections import Counter
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from miner.records import read_client
from miner.records.place.gaps import modal_gap

LEVEL = """\
[[source]]
file = "level.csv"
stream = "stress"
not_measured = ["off"]
[source.columns]
time = "when"
[source.episodes]
column = "level"
at_least = 3
for_min = {for_min}
join_gaps_min = {join}
"""


def episodes(folder, levels, *, for_min=15, join=10, step=5, skip=()):
    times = pd.date_range("2026-03-02T08:00", periods=len(levels), freq=f"{step}min")
    rows = [
        f"{time:%Y-%m-%dT%H:%M},{level}"
        for at, (time, level) in enumerate(zip(times, levels, strict=True))
        if at not in skip
    ]
    folder.steady_glucose().write("level.csv", "\n".join(["when,level", *rows]))
    folder.write("sources.toml", LEVEL.format(for_min=for_min, join=join))
    client = read_client(folder.path)
    return client, spans(client.streams["stress"])


def spans(frame):
    return [f"{a:%H:%M}-{b:%H:%M}" for a, b in zip(frame["start"], frame["end"], strict=True)]


def test_an_episode_lasts_until_the_end_of_its_last_sample(folder):
    client, found = episodes(folder, [0, 3, 4, 5, 2, 0])
    assert found == ["08:05-08:20"]
    assert client.streams["stress"]["level"].tolist() == [4]
    assert client.streams["stress"]["row"].tolist() == [3]


def test_short_ones_go_after_gaps_are_joined(folder):
    _, found = episodes(folder, [3, 0, 3, 0, 0, 0, 3, 3])
    assert found == ["08:00-08:15"]
    _, found = episodes(folder, [3, 0, 3, 0, 0, 0, 3, 3], join=0)
    assert found == []


@pytest.mark.parametrize("nothing", ["off", "", "-1"])
def test_what_was_not_measured_is_not_zero_and_breaks_an_episode_beyond_the_gap(folder, nothing):
    levels = [3, 3, 3, nothing, nothing, 3, 3, 3, nothing, nothing, nothing, 3, 3, 3]
    client, found = episodes(folder, levels)
    assert found == ["08:00-08:40", "08:55-09:10"]
    assert spans(client.worn["stress"]) == ["08:00-08:15", "08:25-08:40", "08:55-09:10"]


def test_samples_missing_from_the_file_break_it_too(folder):
    client, found = episodes(folder, [3] * 12, skip=(4, 5, 6, 7))
    assert found == ["08:00-08:20", "08:40-09:00"]
    assert spans(client.worn["stress"]) == ["08:00-08:20", "08:40-09:00"]


def test_the_interval_is_the_modal_gap(folder):
    _, found = episodes(folder, [3] * 8, step=15)
    assert found == ["08:00-10:00"]


def test_against_a_minute_by_minute_reading_of_the_rule(folder):
    """An independent implementation: paint minutes, close gaps, drop the short."""
    generator = np.random.default_rng(7)
    for join, for_min in [(0, 0), (10, 15), (5, 20)]:
        levels = generator.integers(0, 6, 200)
        _, found = episodes(folder, levels.tolist(), join=join, for_min=for_min)
        minutes = np.repeat(levels >= 3, 5).tolist()
        runs, start = [], None
        for minute, on in enumerate([*minutes, False]):
            if on and start is None:
                start = minute
            if not on and start is not None:
                if runs and start - runs[-1][1] <= join:
                    runs[-1][1] = minute
                else:
                    runs.append([start, minute])
                start = None
        zero = pd.Timestamp("2026-03-02T08:00")
        expected = [
            f"{zero + pd.Timedelta(minutes=a):%H:%M}-{zero + pd.Timedelta(minutes=b):%H:%M}"
            for a, b in runs
            if b - a >= for_min
        ]
        assert found == expected


def blocks(folder, days, steps):
    folder.steady_glucose(hours=24 * days)
    rows = ["start,end,kind,steps"]
    for day in range(days):
        for at in pd.date_range(f"2026-03-0{2 + day}", periods=96, freq="15min"):
            end = at + pd.Timedelta(minutes=15)
            count = steps[day] if 8 <= at.hour < 20 else 0
            rows.append(f"{at:%Y-%m-%dT%H:%M},{end:%Y-%m-%dT%H:%M},steps,{count}")
    folder.write("activity.csv", "\n".join(rows))


def test_a_day_without_a_step_is_a_tracker_not_worn(folder):
    blocks(folder, 3, [40, 0, 25])
    client = read_client(folder.path)
    worn = client.worn["activity"]
    assert [[str(a), str(b)] for a, b in zip(worn["start"], worn["end"], strict=True)] == [
        ["2026-03-02 00:00:00", "2026-03-03 00:00:00"],
        ["2026-03-04 00:00:00", "2026-03-05 00:00:00"],
    ]
    used = client.used("activity")
    assert sorted(used["start"].dt.day.unique()) == [2, 4]
    (told,) = [item for item in client.findings if "without a single step" in item.what]
    assert told.count == 96


def test_no_steps_with_other_signs_of_wear_is_a_still_day(folder):
    blocks(folder, 3, [40, 0, 25])
    times = pd.date_range("2026-03-03T08:00", periods=40, freq="5min")
    folder.write("level.csv", "\n".join(["when,level", *(f"{t:%Y-%m-%dT%H:%M},1" for t in times)]))
    folder.write("sources.toml", LEVEL.format(for_min=15, join=10))
    client = read_client(folder.path)
    assert len(client.used("activity")) == 3 * 96
    assert len(client.worn["activity"]) == 1


def test_bouts_alone_do_not_tell_when_a_tracker_was_worn(folder):
    folder.steady_glucose()
    folder.write("activity.csv", "start,end,kind\n2026-03-02T08:00,2026-03-02T08:30,Walking\n")
    client = read_client(folder.path)
    assert "activity" not in client.worn
    assert client.streams["activity"]["kind"].tolist() == ["walking"]


@given(st.lists(st.sampled_from([0, 1, 300, 300, 300, 301, 600, 86_401, -60]), max_size=12))
def test_the_most_frequent_gap_is_that_of_a_count_one_by_one(steps):
    seconds = np.cumsum([0, *steps])
    times = seconds.astype("datetime64[s]").astype("datetime64[ns]")
    in_order = sorted(seconds.tolist())
    gaps = Counter(b - a for a, b in pairwise(in_order) if 0 < b - a <= 86_400)
    most = min(gaps, key=lambda gap: (-gaps[gap], gap), default=None)
    found = modal_gap(times)
    assert (None if found is None else found / np.timedelta64(1, "s")) == most
