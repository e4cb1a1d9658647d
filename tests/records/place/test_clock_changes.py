"""The hours that come twice or never, at real changes of the clock.

The instants are those of the IANA time zone database: Lisbon leaves summer time on 2026-10-25 at
01:00 UTC and enters it on 2026-03-29 at 01:00 UTC; New York leaves it on 2026-11-01 at 06:00 UTC
and enters it on 2026-03-08 at 07:00 UTC; Sydney leaves it on 2026-04-05 at 03:00 local daylight
time (2026-04-04 16:00 UTC) and enters it on 2026-10-04 at 02:00 local (2026-10-03 16:00 UTC).
"""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from miner.records import read_client
from miner.records.place.times import localise, read_times

BACK = [
    ("Europe/Lisbon", "2026-10-25T01:00"),
    ("America/New_York", "2026-11-01T06:00"),
    ("Australia/Sydney", "2026-04-04T16:00"),
]
FORWARD = [
    ("Europe/Lisbon", "2026-03-29T01:00"),
    ("America/New_York", "2026-03-08T07:00"),
    ("Australia/Sydney", "2026-10-03T16:00"),
]


def around(change, hours=4, minutes=5):
    """True instants every few minutes around a change, and what a wall clock shows then."""
    middle = datetime.fromisoformat(change).replace(tzinfo=UTC)
    count = 2 * hours * 60 // minutes
    return [middle + timedelta(minutes=minutes * (at - count // 2)) for at in range(count)]


def shown(instants, zone):
    return [f"{item.astimezone(ZoneInfo(zone)):%Y-%m-%dT%H:%M}" for item in instants]


def utc(instants):
    return np.array([item.replace(tzinfo=None) for item in instants], dtype="datetime64[ns]")


@pytest.mark.parametrize(("zone", "change"), BACK + FORWARD)
@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.parametrize("minutes", [5, 15, 20])
def test_wall_clock_in_order_gives_the_true_instants(zone, change, backwards, minutes):
    instants = around(change, minutes=minutes)
    if backwards:
        instants = instants[::-1]
    times = read_times(pd.Series(shown(instants, zone)), None, zone)
    np.testing.assert_array_equal(times.instant, utc(instants))
    assert not times.skipped.any()
    assert times.repeated.sum() == (2 * 60 // minutes if (zone, change) in BACK else 0)


@pytest.mark.parametrize(("zone", "change"), FORWARD)
def test_a_clock_that_was_not_set_forward_shows_an_hour_that_never_was(folder, zone, change):
    middle = datetime.fromisoformat(change).replace(tzinfo=UTC).astimezone(ZoneInfo(zone))
    before = middle.replace(tzinfo=None) - timedelta(hours=3)
    wall = [before + timedelta(minutes=5 * at) for at in range(72)]
    folder.glucose(*(f"{time:%Y-%m-%dT%H:%M},100" for time in wall))
    folder.write("client.toml", f'time_zone = "{zone}"\n')
    client = read_client(folder.path)
    told = [item for item in client.findings if "no clock showed" in item.what]
    assert [item.count for item in told] == [12]
    assert len(client.streams["glucose"]) == 72 - 12


@pytest.mark.parametrize(("zone", "change"), BACK + FORWARD)
@pytest.mark.parametrize("spell", ["%z", "colon"])
def test_offsets_in_the_file_need_no_order(zone, change, spell):
    instants = around(change)
    texts = []
    for item in instants:
        local = item.astimezone(ZoneInfo(zone))
        text = local.strftime("%Y-%m-%dT%H:%M:%S%z")
        texts.append(text if spell == "%z" else f"{text[:-2]}:{text[-2:]}")
    order = np.random.default_rng(0).permutation(len(texts))
    times = read_times(pd.Series(texts).iloc[order].reset_index(drop=True), None, None)
    np.testing.assert_array_equal(times.instant, utc(instants)[order])
    walls = np.array(shown(instants, zone), dtype="datetime64[ns]")[order]
    np.testing.assert_array_equal(times.clock, walls)


def test_readings_of_the_hour_that_comes_twice_stay_apart(folder):
    instants = around("2026-10-25T01:00")
    rows = [f"{time},{100 + at % 50}" for at, time in enumerate(shown(instants, "Europe/Lisbon"))]
    folder.glucose(*rows).write("client.toml", 'time_zone = "Europe/Lisbon"\n')
    frame = read_client(folder.path).used("glucose")
    assert len(frame) == len(instants)
    assert set(np.diff(frame["time"].to_numpy())) == {np.timedelta64(5, "m")}


def test_a_night_over_the_change_has_its_true_length(folder):
    folder.steady_glucose("2026-10-24", 48).write("client.toml", 'time_zone = "Europe/Lisbon"\n')
    folder.write(
        "sleep.csv",
        "start,end\n2026-10-24T23:00,2026-10-25T07:00\n2026-10-25T01:50,2026-10-25T01:10\n",
    )
    sleep = read_client(folder.path).streams["sleep"]
    length = (sleep["end"] - sleep["start"]).dt.total_seconds() / 60
    assert length.tolist() == [9 * 60, 20]


def test_a_duration_over_the_change_ends_on_the_new_clock(folder):
    folder.steady_glucose("2026-03-28", 48).write("client.toml", 'time_zone = "Europe/Lisbon"\n')
    folder.write("nights.csv", "from,long\n2026-03-28T23:00,8\n")
    folder.write(
        "sources.toml",
        '[[source]]\nfile = "nights.csv"\nstream = "sleep"\n'
        '[source.columns]\nstart = "from"\nduration = "long"\n'
        '[source.units]\nduration = "h"\n',
    )
    sleep = read_client(folder.path).streams["sleep"]
    assert str(sleep["end_clock"][0]) == "2026-03-29 08:00:00"


def test_without_a_zone_the_clock_stands_as_it_is_and_that_is_told(folder):
    folder.steady_glucose("2026-10-24", 48)
    client = read_client(folder.path)
    frame = client.streams["glucose"]
    assert (frame["time"] == frame["clock"]).all()
    assert len([item for item in client.findings if "no time zone" in item.what]) == 1


def test_one_stream_with_offsets_and_one_without_share_one_time_line(folder):
    folder.glucose(*(f"2026-07-02T08:{m:02d}+01:00,100" for m in range(0, 60, 5)))
    folder.write("meals.csv", "time,label\n2026-07-02T08:10,oats\n")
    client = read_client(folder.path)
    assert client.streams["glucose"]["time"].min() == pd.Timestamp("2026-07-02T08:00")
    assert client.streams["meals"]["time"].min() == pd.Timestamp("2026-07-02T08:10")


def test_utc_times_show_the_clock_of_the_client(folder):
    folder.glucose(*(f"2026-07-02T07:{m:02d}:00Z,100" for m in range(0, 60, 5)))
    client = read_client(folder.path)
    assert any("in UTC, without the zone" in item.what for item in client.findings)
    folder.write("client.toml", 'time_zone = "Europe/Lisbon"\n')
    frame = read_client(folder.path).streams["glucose"]
    assert str(frame["time"][0]) == "2026-07-02 07:00:00"
    assert str(frame["clock"][0]) == "2026-07-02 08:00:00"


def test_the_zone_of_a_source_stands_before_the_clients(folder):
    folder.steady_glucose("2026-07-02").write("client.toml", 'time_zone = "Europe/Lisbon"\n')
    folder.write("food.csv", "at,what\n02/07/2026 01:30 PM,rice\n")
    folder.write(
        "sources.toml",
        '[[source]]\nfile = "food.csv"\nstream = "meals"\n'
        'time_format = "%d/%m/%Y %I:%M %p"\ntime_zone = "Europe/Madrid"\n'
        '[source.columns]\ntime = "at"\nlabel = "what"\n',
    )
    meals = read_client(folder.path).streams["meals"]
    assert str(meals["time"][0]) == "2026-07-02 11:30:00"
    assert str(meals["clock"][0]) == "2026-07-02 13:30:00"


ODD_ZONES = [
    "Australia/Lord_Howe",
    "Atlantic/Azores",
    "America/Havana",
    "Pacific/Apia",
    "Asia/Gaza",
]


@pytest.mark.parametrize("zone", [*(zone for zone, _ in BACK), *ODD_ZONES])
def test_years_of_times_in_any_order_are_placed_as_the_zone_says(zone):
    """Against the standard library: a time is the hour that comes twice where both folds hold."""
    generator = np.random.default_rng(5)
    start = np.datetime64("2010-12-01", "ns").astype(np.int64)
    hours = generator.integers(0, 24 * 2 * 1500, 6000)
    clock = (start + hours * 30 * 60 * 10**9).view("datetime64[ns]")
    clock[:3] = np.datetime64("NaT")
    found = localise(clock, zone)
    for at in range(3, len(clock)):
        local = datetime.fromisoformat(str(clock[at])[:19])
        passes = {
            local.replace(tzinfo=ZoneInfo(zone), fold=fold).astimezone(UTC) for fold in (0, 1)
        }
        true = {each for each in passes if shown([each], zone) == [f"{local:%Y-%m-%dT%H:%M}"]}
        assert found.skipped[at] == (not true)
        assert found.repeated[at] == (len(true) == 2)
        if true:
            assert pd.Timestamp(found.instant[at], tz="UTC") in true
    assert np.isnat(found.instant[:3]).all()
    assert not (found.skipped | found.repeated)[:3].any()
