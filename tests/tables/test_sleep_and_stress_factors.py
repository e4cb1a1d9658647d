"""Sleep and stress factors: yes, no, and unknown where nothing was recorded."""

from __future__ import annotations

import numpy as np
import pytest

from miner.tables import check, tabulate

DAYS = 12


@pytest.fixture(scope="session")
def flat(sensed):
    return sensed("2026-03-01", np.full(DAYS * 288, 100.0))


def yes_no(table, day, name):
    value = table.frame.loc[day, name]
    return None if np.isnan(value) else bool(value)


@pytest.mark.parametrize(
    ("minutes", "short", "long"), [(359, True, False), (360, False, False), (510, False, True)]
)
def test_short_is_under_six_hours_asleep_and_long_from_eight_and_a_half(
    make, flat, slept, rules, minutes, short, long
):
    table = tabulate(
        make(flat, sleep=slept("2026-03-01", DAYS, "22:00", asleep_min=minutes)), rules, "day"
    )
    assert yes_no(table, "2026-03-05", "short_sleep") is short
    assert yes_no(table, "2026-03-05", "long_sleep") is long


def test_broken_is_awake_for_fifteen_per_cent_and_unknown_where_not_told(make, flat, slept, rules):
    rows = slept("2026-03-01", DAYS)  # 480 minutes each
    rows[1] |= {"awake_min": 72}  # 72 / 480 = 0.15
    rows[2] |= {"awake_min": 71}
    rows[3] |= {"asleep_min": 400}  # 80 / 480 = 0.167 awake
    table = tabulate(make(flat, sleep=rows), rules, "day")
    assert yes_no(table, "2026-03-02", "broken_sleep") is True
    assert yes_no(table, "2026-03-03", "broken_sleep") is False
    assert yes_no(table, "2026-03-04", "broken_sleep") is True
    assert yes_no(table, "2026-03-05", "broken_sleep") is None
    assert "does not report time awake" in str(table.reasons["2026-03-05", "broken_sleep"])


def test_little_deep_sleep_is_the_clients_own_lowest_quarter(make, flat, slept, rules):
    rows = slept("2026-03-01", DAYS, asleep_min=400)
    for k, row in enumerate(rows):
        row["deep_min"] = 40 + 4 * k  # shares 0.10, 0.11, ..., 0.21
    table = tabulate(make(flat, sleep=rows), rules, "day")
    # Twelve usable days (of the last, 17 of 24 hours are recorded, 70.8 %): the quantile 0.25 of
    # 0.10 ... 0.21 lies at place 2.75, at 0.1275, so the three lowest are below it.
    assert table.frame["usable"].sum() == 12
    assert table.frame["little_deep_sleep"].tolist() == [1, 1, 1] + [0] * 9


def test_own_levels_need_eight_known_days(make, sensed, slept, rules):
    for days, known in ((8, True), (7, False)):
        rows = slept("2026-03-01", days, asleep_min=400)
        for k, row in enumerate(rows):
            row["deep_min"] = 40 + k
        table = tabulate(
            make(sensed("2026-03-01", np.full(days * 288, 99.0)), sleep=rows), rules, "day"
        )
        assert table.frame["usable"].sum() == days
        assert table.frame["little_deep_sleep"].notna().any() == known
        if not known:
            assert "known on 7 days only, and 8 are needed" in str(
                table.reasons["2026-03-02", "little_deep_sleep"]
            )


def test_late_sleep_is_an_hour_after_the_usual_midpoint_also_across_midnight(
    make, flat, slept, rules
):
    rows = slept("2026-03-01", DAYS, "20:30", "03:30")  # midpoint 00:00
    rows[4] = slept("2026-03-05", 1, "21:30", "04:30")[0]  # 01:00, an hour later
    rows[5] = slept("2026-03-06", 1, "21:29", "04:29")[0]  # 00:59
    rows[6] = slept("2026-03-07", 1, "19:00", "03:00")[0]  # 23:00, an hour earlier
    table = tabulate(make(flat, sleep=rows), rules, "day")
    assert yes_no(table, "2026-03-05", "late_sleep") is True
    assert yes_no(table, "2026-03-06", "late_sleep") is False
    assert table.measures.loc["2026-03-07", "late_sleep"] == -60
    assert yes_no(table, "2026-03-07", "late_sleep") is False


def test_the_usual_midpoint_needs_eight_nights(make, flat, slept, rules):
    table = tabulate(make(flat, sleep=slept("2026-03-01", 7)), rules, "day")
    assert yes_no(table, "2026-03-02", "late_sleep") is None
    assert "7 nights" in str(table.reasons["2026-03-02", "late_sleep"])


def stress(*spans):
    return [{"start": f"2026-03-{a}", "end": f"2026-03-{b}"} for a, b in spans]


def test_stress_is_counted_between_waking_and_falling_asleep(make, flat, slept, rules):
    rows = stress(
        ("03 06:30", "03 08:00"),  # 60 minutes after waking at 07:00
        ("03 18:30", "03 19:00"),
        ("03 18:45", "03 19:15"),  # overlaps: 45 minutes together
        ("03 22:30", "03 23:30"),  # 30 minutes before falling asleep at 23:00
    )
    table = tabulate(make(flat, sleep=slept("2026-03-01", DAYS), stress=rows), rules, "day")
    numbers = table.measures.loc["2026-03-03"]
    assert numbers["morning_stress"] == 60
    assert numbers["evening_stress"] == 75
    assert numbers["much_stress"] == 135
    assert yes_no(table, "2026-03-03", "morning_stress") is True
    assert yes_no(table, "2026-03-03", "evening_stress") is True
    assert yes_no(table, "2026-03-03", "much_stress") is True
    assert len(table.sources["2026-03-03", "evening_stress"]) == 3
    assert yes_no(table, "2026-03-04", "much_stress") is False


def test_without_a_stress_stream_stress_is_unknown(make, flat, slept, rules):
    table = tabulate(make(flat, sleep=slept("2026-03-01", DAYS)), rules, "day")
    assert table.frame["much_stress"].isna().all()
    assert str(table.reasons["2026-03-02", "much_stress"]) == "there are no stress records"


def test_a_day_without_any_tracker_record_is_unknown_not_calm(make, flat, slept, rules):
    rows = slept("2026-03-01", DAYS)
    del rows[5]  # waking on the 6th: nothing touches the day of the 5th
    table = tabulate(make(flat, sleep=rows, stress=stress(("03 08:00", "03 10:00"))), rules, "day")
    assert yes_no(table, "2026-03-04", "much_stress") is False
    assert yes_no(table, "2026-03-05", "much_stress") is None
    assert (
        str(table.reasons["2026-03-05", "much_stress"]) == "the tracker recorded nothing that day"
    )


def test_a_day_without_a_step_is_unknown_not_calm(make, flat, slept, rules):
    # a walk that was only logged shows no tracker worn where steps are counted on most days
    steps = [
        {
            "start": f"2026-03-{d:02d} 07:30",
            "end": f"2026-03-{d:02d} 22:00",
            "kind": "steps",
            "steps": 0 if d == 6 else 5000,
        }
        for d in range(1, DAYS + 1)
        if d != 5
    ]
    walk = {"start": "2026-03-05 09:00", "end": "2026-03-05 09:20", "kind": "walking"}
    spans = stress(("04 09:00", "04 12:00"))
    client = make(flat, sleep=slept("2026-03-01", DAYS), stress=spans, activity=[*steps, walk])
    table = tabulate(client, rules, "day")
    known = {day: yes_no(table, f"2026-03-{day:02d}", "much_stress") for day in (4, 5, 6, 7)}
    assert known == {4: True, 5: None, 6: None, 7: False}
    assert "counted no step" in str(table.reasons["2026-03-05", "much_stress"])


def test_a_stream_that_ends_weeks_before_says_nothing_of_later_days(make, sensed, slept, rules):
    glucose = sensed("2026-03-01", np.full(20 * 288, 100.0))
    rows = stress(("03 08:00", "03 10:00"))
    table = tabulate(make(glucose, sleep=slept("2026-03-01", 20), stress=rows), rules, "day")
    assert yes_no(table, "2026-03-09", "much_stress") is False
    assert yes_no(table, "2026-03-15", "much_stress") is None
    assert "do not reach" in str(table.reasons["2026-03-15", "much_stress"])


@pytest.mark.parametrize(("until", "known"), [("15:00", True), ("14:59", False)])
def test_a_sampled_stream_must_be_worn_for_half_the_window(make, flat, slept, rules, until, known):
    # Waking day 07:00 to 23:00, 16 hours: worn from 07:00, half is until 15:00.
    worn = {"stress": [("2026-03-03 07:00", f"2026-03-03 {until}")]}
    client = make(
        flat,
        sleep=slept("2026-03-01", DAYS),
        stress=stress(("03 09:00", "03 10:00")),
        worn=worn,
    )
    table = tabulate(client, rules, "day")
    assert (yes_no(table, "2026-03-03", "much_stress") is False) == known
    assert yes_no(table, "2026-03-03", "morning_stress") is True
    # Not worn at all from 18:00: the evening is unknown.
    assert yes_no(table, "2026-03-03", "evening_stress") is None
    assert "worn for 0 %" in str(table.reasons["2026-03-03", "evening_stress"])


def test_waking_after_noon_leaves_no_morning(make, flat, slept, rules):
    rows = slept("2026-03-01", DAYS, "04:00", "12:30")
    table = tabulate(make(flat, sleep=rows, stress=stress(("03 13:00", "03 15:00"))), rules, "day")
    assert yes_no(table, "2026-03-03", "morning_stress") is None
    assert "asleep in this part" in str(table.reasons["2026-03-03", "morning_stress"])


def stressed(day, start, end, **more):
    return {"start": f"2026-03-{day:02d} {start}", "end": f"2026-03-{day:02d} {end}", **more}


def test_a_level_that_is_not_told_beside_others_is_unknown_never_high(make, flat, slept, rules):
    rows = [
        stressed(3, "09:00", "10:30", level=80),
        stressed(4, "09:00", "10:30"),
        stressed(5, "09:00", "10:30", left_out="no_level"),
        stressed(6, "09:00", "10:30", level=80),
        stressed(6, "11:00", "11:10", left_out="no_level"),
    ]
    table = tabulate(make(flat, sleep=slept("2026-03-01", DAYS), stress=rows), rules, "day")
    days = [f"2026-03-{day:02d}" for day in (3, 4, 5, 6, 7)]
    answers = [yes_no(table, day, "morning_stress") for day in days]
    # on the sixth 90 minutes are sure, and a doubtful row changes no yes
    assert answers == [True, None, None, True, False]
    assert "level" in str(table.reasons["2026-03-04", "morning_stress"])
    # of a row whose level cannot be read the end is known: the evening is not in doubt
    assert yes_no(table, "2026-03-05", "evening_stress") is False


def test_rows_without_any_level_all_count(make, flat, slept, rules):
    rows = [stressed(3, "09:00", "10:00"), stressed(4, "09:00", "09:59")]
    table = tabulate(make(flat, sleep=slept("2026-03-01", DAYS), stress=rows), rules, "day")
    assert yes_no(table, "2026-03-03", "morning_stress") is True
    assert yes_no(table, "2026-03-04", "morning_stress") is False


def test_levels_of_the_whole_day_are_no_episodes(make, flat, slept, rules):
    """Low, middle and high all day long: those of the highest quarter count, and it is said."""
    rows = []
    for day in range(1, DAYS + 1):
        high = 3 if day % 2 else 2
        for start, end, level in (
            ("07:00", "09:30", high),
            ("09:30", "13:00", 1),
            ("13:00", "18:00", 2),
            ("18:00", "22:00", 1),
        ):
            rows.append(stressed(day, start, end, level=level))
    client = make(flat, sleep=slept("2026-03-01", DAYS), stress=rows)
    table = tabulate(client, rules, "day")
    # level 3 is one row in eight, level 2 and 3 together half of them
    assert [yes_no(table, f"2026-03-{day:02d}", "morning_stress") for day in (3, 4, 5)] == [
        True,
        False,
        True,
    ]
    (item,) = [each for each in check(client, table, rules).findings if each.code == "stress_from"]
    assert "from level 3" in item.what
    few = [row for row in rows if row["end"].endswith("09:30")]
    table = tabulate(make(flat, sleep=slept("2026-03-01", DAYS), stress=few), rules, "day")
    assert yes_no(table, "2026-03-04", "morning_stress") is True  # episodes: each row counts


def test_sleeps_that_end_in_the_evening_are_read_and_none_is_a_night(make, flat, slept, rules):
    table = tabulate(make(flat, sleep=slept("2026-03-01", DAYS, "12:00", "20:00")), rules, "day")
    why = str(table.reasons["2026-03-05", "short_sleep"])
    assert (
        why
        == "none of the sleeps that were read ends between 03:00 and 14:00, so waking is not known"
    )
    assert str(table.reasons["2026-03-05", "wake_glucose"]) == why
    without = tabulate(make(flat), rules, "day")
    assert "there are no sleep records" in str(without.reasons["2026-03-05", "short_sleep"])
