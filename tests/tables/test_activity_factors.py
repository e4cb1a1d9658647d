"""Movement factors: minutes, steps, walks after meals; a tracker that was off tells nothing."""

from __future__ import annotations

import numpy as np
import pytest

from miner.tables import day_table

DAYS = 12
D = "2026-03-03"


@pytest.fixture(scope="session")
def table_of(make, sensed, slept, rules):
    glucose = sensed("2026-03-01", np.full(DAYS * 288, 100.0))

    def table(**given):
        given.setdefault("sleep", slept("2026-03-01", DAYS))
        return day_table(make(glucose, **given), rules)

    return table


def yes_no(table, day, name):
    value = table.frame.loc[day, name]
    return None if np.isnan(value) else bool(value)


def move(start, end, kind="walking", day="03", **more):
    return {
        "start": f"2026-03-{day} {start}",
        "end": f"2026-03-{day} {end}",
        "kind": kind,
        **more,
    }


def test_active_minutes_are_walking_moderate_and_vigorous_counted_once(table_of):
    table = table_of(
        activity=[
            move("10:00", "10:20"),
            move("10:10", "10:25", "cycling", intensity="moderate"),
            move("17:00", "17:05", "other", intensity="vigorous"),
            move("18:00", "19:00", "other", intensity="light"),
            move("06:00", "06:50"),  # before waking
        ]
    )
    assert table.measures.loc[D, "active_day"] == 30
    assert yes_no(table, D, "active_day") is True
    assert yes_no(table, "2026-03-04", "active_day") is False


def test_without_an_activity_stream_movement_is_unknown(table_of):
    table = table_of(meals=[{"time": "2026-03-03 19:00", "label": "dinner"}])
    for name in ("active_day", "vigorous_activity", "few_steps", "walk_after_dinner"):
        assert yes_no(table, D, name) is None
        assert table.reasons[D, name] == "there are no activity records"


def test_a_day_without_any_tracker_record_is_unknown_never_zero(table_of, slept):
    rows = slept("2026-03-01", DAYS)
    del rows[5]
    table = table_of(sleep=rows, activity=[move("10:00", "10:40")])
    assert yes_no(table, "2026-03-05", "active_day") is None
    assert table.reasons["2026-03-05", "active_day"] == "no tracker record that day"
    assert yes_no(table, "2026-03-04", "active_day") is False


def test_no_step_all_day_means_the_tracker_was_off(table_of):
    days = [f"{k:02d}" for k in range(1, DAYS + 1)]
    rows = [move("08:00", "20:00", "steps", day, steps=1000.0 * int(day)) for day in days]
    rows[2]["steps"] = 0.0
    table = table_of(activity=rows)
    for name in ("active_day", "few_steps"):
        assert yes_no(table, D, name) is None
        assert "the tracker was off" in table.reasons[D, name]
    # Eleven known days, 1, 2, 4, ..., 12 thousand steps: the sixth, 7 thousand, is the median.
    fewer = [day for day in days if yes_no(table, f"2026-03-{day}", "few_steps")]
    assert fewer == ["01", "02", "04", "05", "06"]


def test_where_steps_are_counted_daily_a_day_without_a_count_is_a_day_off(table_of):
    days = [f"{k:02d}" for k in range(1, DAYS + 1) if k != 3]
    rows = [move("08:00", "20:00", "steps", day, steps=5000.0) for day in days]
    table = table_of(activity=rows)
    assert yes_no(table, D, "active_day") is None
    assert yes_no(table, "2026-03-04", "active_day") is False


def test_where_only_walks_carry_steps_a_day_without_a_walk_is_a_day_without(table_of):
    table = table_of(
        activity=[move("10:00", "10:40", steps=4000.0), move("10:00", "10:40", day="09")]
    )
    assert yes_no(table, D, "active_day") is True
    assert yes_no(table, "2026-03-04", "active_day") is False
    assert yes_no(table, "2026-03-04", "few_steps") is None


@pytest.mark.parametrize(("minutes", "vigorous"), [(10, True), (9, False)])
def test_vigorous_needs_ten_minutes(table_of, minutes, vigorous):
    table = table_of(activity=[move("10:00", f"10:{minutes:02d}", "run", intensity="vigorous")])
    assert yes_no(table, D, "vigorous_activity") is vigorous
    assert yes_no(table, "2026-03-04", "vigorous_activity") is False


def test_exercise_without_an_intensity_may_have_been_vigorous(table_of):
    rows = [move("10:00", "10:40", "running"), move("10:00", "11:00", intensity="light", day="05")]
    table = table_of(activity=rows)
    assert yes_no(table, D, "vigorous_activity") is None
    assert yes_no(table, "2026-03-05", "vigorous_activity") is False
    more = table_of(activity=[*rows, move("12:00", "12:10", "row", intensity="vigorous")])
    assert yes_no(more, D, "vigorous_activity") is True


def test_without_any_intensity_vigorous_activity_is_unknown(table_of):
    table = table_of(activity=[move("10:00", "10:40")])
    assert yes_no(table, "2026-03-04", "vigorous_activity") is None
    assert "no intensity" in table.reasons["2026-03-04", "vigorous_activity"]


DINNER = [{"time": "2026-03-03 19:00", "label": "dinner"}]


@pytest.mark.parametrize(
    ("start", "end", "minutes"),
    [
        ("19:00", "19:10", 10),
        ("18:50", "19:09", 9),  # nine of them after the meal began
        ("19:51", "20:20", 9),  # nine of them within the hour
        ("19:50", "20:20", 10),
        ("20:00", "21:00", 0),
    ],
)
def test_a_walk_after_dinner_is_ten_minutes_within_an_hour_of_its_start(
    table_of, start, end, minutes
):
    table = table_of(meals=DINNER, activity=[move(start, end, "evening walk")])
    assert table.measures.loc[D, "walk_after_dinner"] == minutes
    assert yes_no(table, D, "walk_after_dinner") is (minutes >= 10)


def test_a_block_of_a_thousand_steps_in_a_quarter_of_an_hour_is_walking(table_of):
    for steps, walked in ((1000.0, 15), (999.0, 0)):
        table = table_of(meals=DINNER, activity=[move("19:15", "19:30", "steps", steps=steps)])
        assert table.measures.loc[D, "walk_after_dinner"] == walked


def test_without_the_meal_a_walk_after_it_is_unknown(table_of):
    breakfast = [{"time": "2026-03-03 07:30", "label": "breakfast"}]
    table = table_of(meals=breakfast, activity=[move("07:40", "08:00"), move("20:00", "21:00")])
    assert yes_no(table, D, "walk_after_breakfast") is True
    assert yes_no(table, D, "walk_after_lunch") is None
    assert yes_no(table, D, "walk_after_dinner") is None
    assert table.reasons[D, "walk_after_dinner"] == "no dinner is logged that day"


def test_a_walk_is_unknown_where_the_sampled_tracker_was_off(table_of):
    worn = {"activity": [("2026-03-03 07:00", "2026-03-03 19:29")]}
    table = table_of(meals=DINNER, activity=[move("10:00", "10:30")], worn=worn)
    assert yes_no(table, D, "active_day") is True
    assert yes_no(table, D, "walk_after_dinner") is None
    assert "worn for 48 %" in table.reasons[D, "walk_after_dinner"]
