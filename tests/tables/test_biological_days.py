"""Where a biological day begins and ends, and which sleep opens it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from miner.tables import tabulate
from miner.tables.columns import Zones, from_usual, usual_clock

HOUR = 3600


def flat(sensed, days, start="2026-03-01", **more):
    return sensed(start, np.full(days * 288, 100.0), **more)


def spans(table):
    return [
        (f"{a:%m-%d %H:%M}", f"{b:%m-%d %H:%M}")
        for a, b in zip(table.frame["start"], table.frame["end"], strict=True)
    ]


def test_a_day_runs_from_waking_to_the_next_waking_and_is_named_by_its_start(make, sensed, rules):
    sleep = [
        {"start": "2026-02-28 23:10", "end": "2026-03-01 06:40"},
        {"start": "2026-03-01 23:30", "end": "2026-03-02 07:20"},
        {"start": "2026-03-03 00:40", "end": "2026-03-03 08:00"},
    ]
    table = tabulate(make(flat(sensed, 3), sleep=sleep), rules, "day")
    assert list(table.frame.index) == ["2026-03-01", "2026-03-02", "2026-03-03"]
    # The night of the 4th is not recorded: the median waking of 06:40, 07:20, 08:00 is 07:20.
    assert spans(table) == [
        ("03-01 06:40", "03-02 07:20"),
        ("03-02 07:20", "03-03 08:00"),
        ("03-03 08:00", "03-04 07:20"),
    ]
    # days since 1970-01-01: date(2026, 3, 1) - date(1970, 1, 1) = 20513 days.
    assert table.frame["day_number"].tolist() == [20513, 20514, 20515]


def test_a_missing_main_sleep_gives_the_usual_waking_and_unknown_sleep(make, sensed, slept, rules):
    rows = slept("2026-03-01", 5)
    del rows[2]
    table = tabulate(make(flat(sensed, 5), sleep=rows), rules, "day")
    assert spans(table)[2] == ("03-03 07:00", "03-04 07:00")
    day = table.frame.loc["2026-03-03"]
    assert np.isnan(day["short_sleep"])
    assert np.isnan(day["wake_glucose"])
    assert "no main sleep" in str(table.reasons["2026-03-03", "short_sleep"])
    assert "no main sleep" in str(table.reasons["2026-03-03", "wake_glucose"])
    assert table.frame["short_sleep"].drop("2026-03-03").eq(0).all()


def test_the_usual_waking_of_an_early_riser_is_their_own(make, sensed, slept, rules):
    rows = slept("2026-03-01", 5, start="21:00", end="04:30")
    del rows[2]
    table = tabulate(make(flat(sensed, 5), sleep=rows), rules, "day")
    assert spans(table)[2] == ("03-03 04:30", "03-04 04:30")


def test_without_any_sleep_record_days_begin_at_four(make, sensed, rules):
    table = tabulate(make(flat(sensed, 3)), rules, "day")
    assert spans(table)[0] == ("03-01 04:00", "03-02 04:00")
    assert table.frame["wake_glucose"].isna().all()
    assert table.by_clock["wake_glucose"].isna().all()
    assert "no sleep records" in str(table.reasons["2026-03-02", "wake_glucose"])
    assert table.frame["overnight_mean"].eq(100).all()


def test_naps_and_sleeps_that_end_in_the_afternoon_do_not_open_a_day(make, sensed, slept, rules):
    rows = slept("2026-03-01", 3)
    rows += [
        {"start": "2026-03-02 12:00", "end": "2026-03-02 13:00", "kind": "nap"},
        {"start": "2026-03-02 08:00", "end": "2026-03-02 13:59", "kind": "nap"},
        {"start": "2026-03-02 14:30", "end": "2026-03-03 00:30"},
    ]
    table = tabulate(make(flat(sensed, 3), sleep=rows), rules, "day")
    assert [start for start, _ in spans(table)] == ["03-01 07:00", "03-02 07:00", "03-03 07:00"]


@pytest.mark.parametrize(
    ("end", "opens"), [("02:59", False), ("03:00", True), ("14:00", True), ("14:01", False)]
)
def test_a_main_sleep_ends_between_three_and_two_in_the_afternoon(make, sensed, rules, end, opens):
    rows = [{"start": "2026-03-02 00:30", "end": f"2026-03-02 {end}"}]
    table = tabulate(make(flat(sensed, 3), sleep=rows), rules, "day")
    assert np.isnan(table.frame.loc["2026-03-02", "short_sleep"]) == (not opens)


@pytest.mark.parametrize("kinds", [("", ""), ("", "main"), ("main", "")])
def test_of_two_records_that_overlap_the_longer_or_the_main_one_is_kept(make, sensed, rules, kinds):
    rows = [
        {"start": "2026-03-01 22:00", "end": "2026-03-02 06:00", "kind": kinds[0]},
        {"start": "2026-03-02 02:00", "end": "2026-03-02 07:00", "kind": kinds[1]},
    ]
    table = tabulate(make(flat(sensed, 3), sleep=rows), rules, "day")
    hours = 5 if kinds[1] else 8
    assert table.measures.loc["2026-03-02", "short_sleep"] == hours


def test_a_sleep_marked_main_wins_whenever_it_ends(make, sensed, rules):
    rows = [
        {"start": "2026-03-01 08:00", "end": "2026-03-01 15:00", "kind": "main"},
        {"start": "2026-03-01 01:00", "end": "2026-03-01 06:30"},
    ]
    table = tabulate(make(flat(sensed, 2), sleep=rows), rules, "day")
    assert spans(table)[0][0] == "03-01 15:00"


def test_the_longest_of_two_sleeps_that_end_in_the_window_opens_the_day(make, sensed, rules):
    rows = [
        {"start": "2026-02-28 23:00", "end": "2026-03-01 05:00"},
        {"start": "2026-03-01 10:30", "end": "2026-03-01 12:30"},
    ]
    table = tabulate(make(flat(sensed, 2), sleep=rows), rules, "day")
    assert spans(table)[0][0] == "03-01 05:00"


def test_parts_an_hour_apart_are_one_night_and_the_gap_is_time_awake(make, sensed, rules):
    rows = [
        {"start": "2026-02-28 23:00", "end": "2026-03-01 02:00", "asleep_min": 170},
        {"start": "2026-03-01 03:00", "end": "2026-03-01 07:00", "asleep_min": 230},
    ]
    table = tabulate(make(flat(sensed, 2), sleep=rows), rules, "day")
    assert spans(table)[0][0] == "03-01 07:00"
    # asleep 170 + 230 = 400 min; awake (480 - 400) / 480 = 1/6.
    assert table.measures.loc["2026-03-01", "short_sleep"] == pytest.approx(400 / 60)
    assert table.measures.loc["2026-03-01", "broken_sleep"] == pytest.approx(1 / 6)
    assert table.sources["2026-03-01", "short_sleep"] == (("sleep.csv", 2), ("sleep.csv", 3))


def test_parts_more_than_an_hour_apart_are_two_sleeps(make, sensed, rules):
    rows = [
        {"start": "2026-02-28 23:00", "end": "2026-03-01 03:30"},
        {"start": "2026-03-01 04:31", "end": "2026-03-01 07:00"},
    ]
    table = tabulate(make(flat(sensed, 2), sleep=rows), rules, "day")
    assert spans(table)[0][0] == "03-01 03:30"
    # Time in bed stands for time asleep: 4.5 h.
    assert table.measures.loc["2026-03-01", "short_sleep"] == pytest.approx(4.5)


def test_a_left_out_night_is_unknown_and_says_why(make, sensed, slept, rules):
    rows = slept("2026-03-01", 4)
    rows[1]["left_out"] = "ends_before_start"
    table = tabulate(make(flat(sensed, 4), sleep=rows), rules, "day")
    assert np.isnan(table.frame.loc["2026-03-02", "short_sleep"])
    assert "ends before it starts" in str(table.reasons["2026-03-02", "short_sleep"])


def test_the_day_of_the_clock_change_has_23_hours_and_its_night_is_measured_by_instants(
    make, sensed, slept, rules
):
    # Lisbon: 2026-03-29 01:00 becomes 02:00. 22:00 to 07:00 on the clock is 8 hours.
    zone = "Europe/Lisbon"
    rows = slept("2026-03-28", 4, start="22:00", end="07:00")
    glucose = sensed("2026-03-28", np.full(3 * 288, 100.0), zone=zone)
    table = tabulate(make(glucose, sleep=rows, zone=zone), rules, "day")
    hours = table.measures["short_sleep"]
    assert hours["2026-03-28"] == pytest.approx(9)
    assert hours["2026-03-29"] == pytest.approx(8)
    assert hours["2026-03-30"] == pytest.approx(9)
    assert spans(table)[0] == ("03-28 07:00", "03-29 07:00")
    # 23 hours long: 276 readings of 5 minutes, not 288.
    assert table.context.loc["2026-03-28", "readings"] == 276
    assert table.frame.loc["2026-03-28", "coverage"] == 1


def test_the_night_by_the_clock_at_the_change_has_five_hours(make, sensed, rules):
    zone = "Europe/Lisbon"
    glucose = sensed("2026-03-28", np.arange(3 * 288.0) % 50 + 80, zone=zone)
    table = tabulate(make(glucose, zone=zone), rules, "day")
    clock = glucose["clock"]
    inside = (clock >= "2026-03-29 00:00") & (clock < "2026-03-29 06:00")
    assert inside.sum() == 60
    expected = glucose["glucose"][inside].mean()
    assert table.frame.loc["2026-03-29", "overnight_mean"] == pytest.approx(expected)


@pytest.mark.parametrize(
    ("clock", "night", "day", "late"),
    [
        ("03-03 06:40", True, "2026-03-03", 0),  # up while the tracker still says asleep
        ("03-03 06:40", False, "2026-03-03", 0),  # twenty minutes before the usual waking
        ("03-03 03:50", True, "2026-03-02", 1),  # in the night
        ("03-03 03:50", False, "2026-03-02", 1),
        ("03-02 23:30", True, "2026-03-02", 1),
        ("03-01 06:40", True, "2026-03-01", 0),  # before the first waking
    ],
)
def test_what_is_eaten_shortly_before_waking_is_the_first_of_the_day_to_come(
    make, sensed, slept, rules, clock, night, day, late
):
    nights = slept("2026-03-01", 6, end="07:00")
    nights = nights if night else [each for each in nights if f"{each['end']:%m-%d}" != "03-03"]
    meals = [{"time": f"2026-{clock}", "label": "toast", "meal": "breakfast"}]
    client = make(flat(sensed, 6), sleep=nights, meals=meals)
    table = tabulate(client, rules, "meal")
    assert table.frame["date"].tolist() == [day]
    assert table.frame["late_meal"].tolist() == [late]


def test_who_eats_at_dawn_and_then_goes_to_bed_eats_late(make, sensed, slept, rules):
    meals = [{"time": "2026-03-03 05:00", "label": "soup", "meal": "dinner"}]
    nights = slept("2026-03-01", 6, start="06:00", end="13:30")
    table = tabulate(make(flat(sensed, 6), sleep=nights, meals=meals), rules, "meal")
    assert table.frame["date"].tolist() == ["2026-03-02"]
    assert table.frame["late_meal"].iloc[0] == 1


def test_after_a_gap_rows_keep_their_day_numbers_without_a_hole(make, sensed, rules):
    glucose = pd.concat([flat(sensed, 2), flat(sensed, 2, start="2026-03-06")], ignore_index=True)
    table = tabulate(make(glucose), rules, "day")
    assert table.frame["day_number"].diff().dropna().eq(1).all()
    assert table.frame.loc["2026-03-04", "coverage"] == 0
    assert not table.frame.loc["2026-03-04", "usable"]


def test_a_record_that_ends_before_the_last_waking_adds_no_empty_day(make, sensed, slept, rules):
    glucose = sensed("2026-03-01", np.full(2 * 288 + 36, 100.0))
    table = tabulate(make(glucose, sleep=slept("2026-03-01", 3)), rules, "day")
    assert list(table.frame.index) == ["2026-03-01", "2026-03-02"]


def test_no_readings_give_an_empty_table(make, rules):
    table = tabulate(make(), rules, "day")
    assert len(table.frame) == 0
    assert "minutes_above" in table.frame.columns
    assert "short_sleep" in table.frame.columns


def test_the_resolution_of_times_does_not_matter(make, sensed, slept, rules):
    rng = np.random.default_rng(0)
    glucose = sensed("2026-03-01", rng.normal(110, 20, 4 * 288))
    tables = [
        tabulate(make(glucose, sleep=slept("2026-03-01", 4), unit=unit), rules, "day")
        for unit in ("s", "ms", "us", "ns")
    ]
    for other in tables[1:]:
        pd.testing.assert_frame_equal(tables[0].frame, other.frame)


@pytest.mark.parametrize(
    ("clocks", "expected"),
    [
        ([7, 6.5, 8], 7.0),  # ordinary median
        ([23.5, 0.5, 0], 0.0),  # across midnight
        ([22, 23, 1, 2], 0.0),  # the middle of two, across midnight
    ],
)
def test_the_usual_time_of_day_is_a_median_on_the_clock_face(clocks, expected):
    times = np.array([int(hour * HOUR) for hour in clocks], dtype=np.int64)
    assert usual_clock(times) == expected * HOUR


def test_later_than_usual_is_counted_across_midnight():
    assert from_usual(np.array([HOUR]), 23 * HOUR)[0] == 2 * HOUR
    assert from_usual(np.array([22 * HOUR]), HOUR)[0] == -3 * HOUR


def test_zones_turn_the_clock_into_instants_on_both_sides_of_a_change():
    at = np.array([0, 10, 20, 30], dtype=np.int64) * HOUR
    zones = Zones.seen(at, at + np.array([0, 0, 1, 1]) * HOUR)
    assert zones.instant(np.array([10, 21]) * HOUR).tolist() == [10 * HOUR, 20 * HOUR]
    assert zones.clock(at).tolist() == [0, 10 * HOUR, 21 * HOUR, 31 * HOUR]
    assert zones.journeys() == []
    far = Zones.seen(at, at + np.array([0, 0, 6, 6]) * HOUR)
    assert far.journeys() == [(20 * HOUR, 6.0)]
