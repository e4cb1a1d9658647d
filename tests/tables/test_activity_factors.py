"""Movement factors: minutes, steps, walks after meals; a tracker that was off tells nothing."""

from __future__ import annotations

import numpy as np
import pytest

from miner.tables import check, tabulate

DAYS = 12
D = "2026-03-03"


@pytest.fixture(scope="session")
def table_of(make, sensed, slept, rules):
    glucose = sensed("2026-03-01", np.full(DAYS * 288, 100.0))

    def table(**given):
        given.setdefault("sleep", slept("2026-03-01", DAYS))
        return tabulate(make(glucose, **given), rules, "day")

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
        assert str(table.reasons[D, name]) == "there are no activity records"


def test_a_day_without_any_tracker_record_is_unknown_never_zero(table_of, slept):
    rows = slept("2026-03-01", DAYS)
    del rows[5]
    table = table_of(sleep=rows, activity=[move("10:00", "10:40")])
    assert yes_no(table, "2026-03-05", "active_day") is None
    assert str(table.reasons["2026-03-05", "active_day"]) == "the tracker recorded nothing that day"
    assert yes_no(table, "2026-03-04", "active_day") is False


def test_no_step_all_day_means_the_tracker_was_off(table_of):
    days = [f"{k:02d}" for k in range(1, DAYS + 1)]
    rows = [move("08:00", "20:00", "steps", day, steps=1000.0 * int(day)) for day in days]
    rows[2]["steps"] = 0.0
    table = table_of(activity=rows)
    for name in ("active_day", "few_steps"):
        assert yes_no(table, D, name) is None
        assert "so it was off" in str(table.reasons[D, name])
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
    assert "no intensity" in str(table.reasons["2026-03-04", "vigorous_activity"])


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
    assert str(table.reasons[D, "walk_after_dinner"]) == "no dinner is noted that day"


def test_a_walk_is_unknown_where_the_sampled_tracker_was_off(table_of):
    worn = {"activity": [("2026-03-03 07:00", "2026-03-03 19:29")]}
    table = table_of(meals=DINNER, activity=[move("10:00", "10:30")], worn=worn)
    assert yes_no(table, D, "active_day") is True
    assert yes_no(table, D, "walk_after_dinner") is None
    assert "worn for 48 %" in str(table.reasons[D, "walk_after_dinner"])


def blocks(day, first, last, **more):
    """Quarters of an hour of one kind from one hour to another."""
    at = [f"{h:02d}:{m:02d}" for h in range(first, last) for m in (0, 15, 30, 45)]
    ends = [*at[1:], f"{last:02d}:00"]
    return [move(a, b, day=day, **more) for a, b in zip(at, ends, strict=True)]


def test_a_still_day_is_no_where_the_tracker_was_worn_and_unknown_where_not(table_of):
    still = [*blocks("03", 7, 23, kind="still"), *blocks("04", 7, 23, kind="still")]
    walk = [move("12:35", "13:15"), *blocks("05", 7, 9, kind="still")]
    worn = {
        "activity": [
            ("2026-03-03 07:00", "2026-03-03 23:00"),
            ("2026-03-04 07:00", "2026-03-04 23:00"),
            ("2026-03-05 07:00", "2026-03-05 09:00"),
        ]
    }
    lunch = [
        {"time": f"2026-03-0{day} 12:30", "label": "soup", "meal": "lunch"} for day in (3, 4, 5)
    ]
    table = table_of(activity=[*still, *walk], worn=worn, meals=lunch)
    days = (D, "2026-03-04", "2026-03-05")
    assert [yes_no(table, day, "active_day") for day in days] == [True, False, None]
    assert [yes_no(table, day, "walk_after_lunch") for day in days] == [True, False, None]


def test_only_the_minutes_of_movement_inside_a_block_count(table_of):
    walked = [
        *blocks("03", 10, 12, kind="walking", active_min=2 / 60),  # eight times two seconds
        *blocks("04", 10, 12, kind="walking", active_min=4),  # eight times four minutes
        move("10:00", "10:15", "running", day="04", active_min=5, intensity="vigorous"),
        move("10:00", "10:15", "running", day="04", active_min=5, intensity="vigorous"),
        move("10:00", "10:10", "walking", day="05"),
        move("10:05", "10:20", "walking", day="05", active_min=15),
    ]
    table = table_of(activity=walked)
    assert table.measures.loc[D, "active_day"] == pytest.approx(16 / 60)
    # 32 minutes, and 4 + 5 + 5 of one quarter of an hour in place of 4
    assert table.measures.loc["2026-03-04", "active_day"] == pytest.approx(42)
    assert table.measures.loc["2026-03-04", "vigorous_activity"] == pytest.approx(10)
    assert table.measures.loc["2026-03-05", "active_day"] == pytest.approx(20)


def test_a_walk_is_spread_over_its_block(table_of):
    dinner = [{"time": "2026-03-03 19:10", "label": "soup", "meal": "dinner"}]
    walk = [move("19:00", "19:15", active_min=9), move("20:00", "20:15", active_min=9)]
    table = table_of(activity=walk, meals=dinner)
    # 5 of 15 minutes, and 10 of 15
    assert table.measures.loc[D, "walk_after_dinner"] == pytest.approx(3 + 6)


def test_a_block_of_many_steps_is_no_whole_walk_where_its_minutes_are_told(table_of):
    rows = [
        move("10:00", "10:15", "steps", steps=1200),
        move("10:00", "10:15", "walking", active_min=11),
        move("11:00", "11:15", "steps", steps=1200),
    ]
    assert table_of(activity=rows).measures.loc[D, "active_day"] == pytest.approx(26)


def test_single_walks_make_no_steps_of_a_day_unless_rows_with_steps_cover_it(table_of):
    walk = [move("10:00", "11:00", steps=6000), move("08:00", "18:00", "hike", "04", steps=9000)]
    table = table_of(activity=walk)
    assert np.isnan(table.measures.loc[D, "few_steps"])
    assert "single walks" in str(table.reasons[D, "few_steps"])
    assert table.measures.loc["2026-03-04", "few_steps"] == 9000  # ten of sixteen waking hours
    block = [move("07:00", "23:00", "steps", steps=8000)]
    table = table_of(activity=[*walk, *block])
    assert table.measures.loc[D, "few_steps"] == 8000  # the walk lies inside the block


def test_where_only_quiet_blocks_are_named_the_others_make_the_steps_of_the_day(table_of):
    quiet = blocks("03", 7, 12, kind="still", steps=0)
    light = blocks("03", 12, 23, kind="lightly active", steps=100)
    table = table_of(activity=[*quiet, *light])
    assert table.measures.loc[D, "few_steps"] == 44 * 100


def test_a_walk_in_the_same_quarter_of_an_hour_as_a_quiet_block_brings_its_own_steps(table_of):
    # a tracker that writes a row for each kind of movement in a quarter of an hour
    quiet = blocks("03", 7, 23, kind="still", steps=3)
    walks = [move("10:00", "10:15", steps=700), move("15:05", "15:20", steps=300)]
    assert table_of(activity=[*quiet, *walks]).measures.loc[D, "few_steps"] == 64 * 3 + 1000


def test_a_habit_that_never_varies_is_reported_with_the_likely_reason(make, sensed, slept, rules):
    glucose = sensed("2026-03-01", np.full(20 * 288, 100.0))
    walks = [move("10:00", "10:40", day=f"{day:02d}") for day in range(1, 21)]
    given = {"sleep": slept("2026-03-01", 20), "activity": walks}

    def found(**more):
        client = make(glucose, **given, **more)
        report = check(client, tabulate(client, rules, "day"), rules)
        return {item.code: item for item in report.findings}

    item = found()["habit_never_varies"]
    assert "'much movement' was yes on all 20 days known" in item.what
    assert "nobody can see when the tracker was worn" in item.what
    assert (item.severity, item.values["days"]) == ("question", 20)
    worn = {"activity": [("2026-03-01 00:00", "2026-03-21 00:00")]}
    codes = found(worn=worn)
    assert "habit_never_varies" not in codes
    assert "'much movement' was yes on all 20 days known" in codes["same_every_day"].what
