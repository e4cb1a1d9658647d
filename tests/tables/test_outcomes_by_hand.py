"""The outcomes of a day on small cases worked by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from miner.tables import tabulate

DAY = "2026-03-02"


def two_days(sensed, rules, make, change, every=5, days=3, **given):
    """Readings of 100 from 2026-03-01 00:00, changed by wall clock, with 07:00 wakings."""
    glucose = sensed("2026-03-01", np.full(days * 1440 // every, 100.0), every)
    for start, end, value in change:
        inside = (glucose["clock"] >= start) & (glucose["clock"] < end)
        glucose.loc[inside, "glucose"] = value
    return glucose, tabulate(make(glucose, **given), rules, "day")


def test_wake_glucose_is_the_median_of_the_hour_before_waking(make, sensed, slept, rules):
    glucose = sensed("2026-03-01", np.full(3 * 288, 100.0))
    hour = (glucose["clock"] >= "2026-03-02 06:00") & (glucose["clock"] < "2026-03-02 07:00")
    # Twelve readings, shuffled: the middle two are 95 and 97, the median 96.
    glucose.loc[hour, "glucose"] = [80, 81, 97, 99, 90, 300, 95, 92, 99, 94, 250, 98]
    table = tabulate(make(glucose, sleep=slept("2026-03-01", 3)), rules, "day")
    assert table.frame.loc[DAY, "wake_glucose"] == 96
    rows = glucose.index[hour]
    assert table.sources[DAY, "wake_glucose"] == (
        ("glucose.csv", int(rows[0]) + 2),
        ("glucose.csv", int(rows[-1]) + 2),
    )


def test_the_reading_at_waking_belongs_to_the_day_not_to_the_night(make, sensed, slept, rules):
    change = [("2026-03-02 07:00", "2026-03-02 07:05", 400.0)]
    _, table = two_days(sensed, rules, make, change, sleep=slept("2026-03-01", 3))
    assert table.frame.loc[DAY, "overnight_mean"] == 100
    # 1 of 288 readings is 300 higher: 100 + 300 / 288.
    assert table.frame.loc[DAY, "day_mean"] == pytest.approx(100 + 300 / 288)


def test_overnight_mean_runs_from_falling_asleep_to_waking(make, sensed, slept, rules):
    change = [("2026-03-01 23:00", "2026-03-02 01:00", 140.0)]
    _, table = two_days(sensed, rules, make, change, sleep=slept("2026-03-01", 3))
    # 2 of 8 hours at 140, 6 at 100: (2 * 140 + 6 * 100) / 8 = 110.
    assert table.frame.loc[DAY, "overnight_mean"] == pytest.approx(110)
    # By the clock 00:00 to 06:00: 1 of 6 hours at 140, 106.67.
    assert table.by_clock.loc[DAY, "overnight_mean"] == pytest.approx(100 + 40 / 6)


def test_a_night_that_is_missing_is_read_from_midnight_to_six(make, sensed, slept, rules):
    rows = slept("2026-03-01", 3)
    del rows[1]
    change = [
        ("2026-03-01 22:00", "2026-03-02 00:00", 200.0),
        ("2026-03-02 00:00", "2026-03-02 03:00", 120.0),
        ("2026-03-02 06:00", "2026-03-02 07:00", 200.0),
    ]
    _, table = two_days(sensed, rules, make, change, sleep=rows)
    # 3 of 6 hours at 120, 3 at 100: 110.
    assert table.frame.loc[DAY, "overnight_mean"] == pytest.approx(110)


def test_minutes_above_are_per_24_measured_hours_and_the_limit_is_inside(
    make, sensed, slept, rules
):
    change = [
        ("2026-03-02 12:00", "2026-03-02 13:00", 140.0),  # 140 is in the range 70-140
        ("2026-03-02 13:00", "2026-03-02 14:00", 141.0),
    ]
    glucose, table = two_days(sensed, rules, make, change, sleep=slept("2026-03-01", 3))
    assert table.frame.loc[DAY, "minutes_above"] == pytest.approx(60)
    quarter = (glucose["clock"] >= "2026-03-02 16:00") & (glucose["clock"] < "2026-03-02 22:00")
    table = tabulate(make(glucose[~quarter], sleep=slept("2026-03-01", 3)), rules, "day")
    # 60 minutes of 18 measured hours: 60 * 24 / 18 = 80.
    assert table.frame.loc[DAY, "minutes_above"] == pytest.approx(80)


def test_minutes_above_use_the_clients_own_range(make, sensed, slept, rules):
    change = [("2026-03-02 13:00", "2026-03-02 14:00", 141.0)]
    _, table = two_days(
        sensed, rules, make, change, sleep=slept("2026-03-01", 3), range=(70.0, 180.0)
    )
    assert table.frame.loc[DAY, "minutes_above"] == 0


def test_variability_is_the_sample_standard_deviation(make, sensed, slept, rules):
    rng = np.random.default_rng(5)
    glucose = sensed("2026-03-01", rng.normal(110, 15, 3 * 288))
    table = tabulate(make(glucose, sleep=slept("2026-03-01", 3)), rules, "day")
    inside = (glucose["clock"] >= "2026-03-02 07:00") & (glucose["clock"] < "2026-03-03 07:00")
    # pandas: Series.std divides by n - 1.
    expected = glucose["glucose"][inside].std()
    assert table.frame.loc[DAY, "variability"] == pytest.approx(expected, rel=1e-12)


def test_biggest_rise_is_from_a_low_to_a_later_high_within_three_hours(make, sensed, slept, rules):
    change = [
        ("2026-03-02 08:00", "2026-03-02 09:00", 80.0),
        ("2026-03-02 10:00", "2026-03-02 11:00", 150.0),  # 70 above 80, within 3 h
        ("2026-03-02 12:00", "2026-03-02 13:00", 190.0),  # 110 above 80, but 3 h 5 min later
    ]
    _, table = two_days(sensed, rules, make, change, sleep=slept("2026-03-01", 3))
    # 12:05 (smoothed to 190) less the lowest from 09:05 on, which is 100: 90.
    assert table.frame.loc[DAY, "biggest_rise"] == 90


def test_three_hours_are_still_within(make, sensed, slept, rules):
    change = [
        ("2026-03-02 08:00", "2026-03-02 09:00", 80.0),
        ("2026-03-02 11:50", "2026-03-02 13:00", 190.0),
    ]
    _, table = two_days(sensed, rules, make, change, sleep=slept("2026-03-01", 3))
    # Smoothed, 80 lasts until 08:55 and 190 begins at 11:50: 175 minutes, 110.
    assert table.frame.loc[DAY, "biggest_rise"] == 110


def test_a_fall_is_no_rise_and_a_single_spike_is_smoothed_away(make, sensed, slept, rules):
    change = [
        ("2026-03-02 07:00", "2026-03-02 09:00", 180.0),
        ("2026-03-02 15:00", "2026-03-02 15:05", 300.0),  # one reading: median of 100, 300, 100
    ]
    _, table = two_days(sensed, rules, make, change, sleep=slept("2026-03-01", 3))
    # The step from 100 to 180 is at waking: with one reading of 100 before and two of 180 the
    # smoothed reading at 07:00 is 180 already, so nothing climbs within the day.
    assert table.frame.loc[DAY, "biggest_rise"] == 0


def test_a_rise_never_spans_two_sensors(make, sensed, slept, rules):
    glucose = sensed("2026-03-01", np.full(3 * 288, 100.0), sensor="A")
    later = glucose["clock"] >= "2026-03-02 12:00"
    glucose.loc[later, ["glucose", "sensor"]] = [160.0, "B"]
    table = tabulate(make(glucose, sleep=slept("2026-03-01", 3)), rules, "day")
    assert table.frame.loc[DAY, "biggest_rise"] == 0
    assert table.frame.loc[DAY, "sensor"] == "B"
    assert table.frame.loc["2026-03-01", "sensor"] == "A"


@pytest.mark.parametrize("every", [1, 5, 15])
def test_the_cadence_does_not_matter(make, sensed, slept, rules, every):
    change = [
        ("2026-03-02 05:00", "2026-03-02 06:30", 120.0),
        ("2026-03-02 12:00", "2026-03-02 14:00", 150.0),
        ("2026-03-02 18:00", "2026-03-02 19:15", 170.0),
    ]
    _, table = two_days(sensed, rules, make, change, every=every, sleep=slept("2026-03-01", 3))
    day = table.frame.loc[DAY]
    assert day["coverage"] == 1
    # Night 23:00-07:00: 90 of 480 minutes at 120.
    assert day["overnight_mean"] == pytest.approx(100 + 20 * 90 / 480)
    # The hour before waking: 06:00-06:30 at 120, then 100: the middle of the two.
    assert day["wake_glucose"] == 110
    # 120 minutes at 150 and 75 at 170.
    assert day["minutes_above"] == pytest.approx(195)
    assert day["day_mean"] == pytest.approx(100 + (50 * 120 + 70 * 75) / 1440)
    assert day["biggest_rise"] == 70


def test_readings_on_demand_between_stored_ones_do_not_count_twice(make, sensed, slept, rules):
    stored = sensed("2026-03-01", np.full(3 * 96, 100.0), 15)
    peak = (stored["clock"] >= "2026-03-02 12:00") & (stored["clock"] < "2026-03-02 13:00")
    stored.loc[peak, "glucose"] = 160.0
    asked = sensed("2026-03-02 12:02", np.full(11, 160.0), 5)
    both = pd.concat([stored, asked]).sort_values("time", ignore_index=True)
    rows = slept("2026-03-01", 3)
    plain, more = (tabulate(make(frame, sleep=rows), rules, "day") for frame in (stored, both))
    for name in ("day_mean", "minutes_above"):
        assert more.frame.loc[DAY, name] == pytest.approx(plain.frame.loc[DAY, name])


def without(glucose, start, end):
    inside = (glucose["clock"] >= start) & (glucose["clock"] < end)
    return glucose[~inside].reset_index(drop=True)


# Twelve readings in the hour: 9 are 75 %, 8 are 66.7 %, 7 are 58.3 %.
@pytest.mark.parametrize(
    ("gap_from", "told"), [("06:45", ""), ("06:40", "66 %"), ("06:35", "58 %")]
)
def test_the_wake_hour_needs_seventy_per_cent(make, sensed, slept, rules, gap_from, told):
    glucose = sensed("2026-03-01", np.full(3 * 288, 100.0))
    cut = without(glucose, f"2026-03-02 {gap_from}", "2026-03-02 07:00")
    table = tabulate(make(cut, sleep=slept("2026-03-01", 3)), rules, "day")
    reason = str(table.reasons.get((DAY, "wake_glucose"), ""))
    assert np.isnan(table.frame.loc[DAY, "wake_glucose"]) == bool(told)
    assert told in reason
    assert bool(reason) == bool(told)


# Reference A-SUFF: 14 days of 5-minute readings hold 4032, of 15-minute readings 1344; at 70 %
# 2823 and 941 are enough. A day holds 288 and 96: 202 and 68 are the fewest at 70 %.
@pytest.mark.parametrize(("every", "fewest"), [(5, 202), (15, 68)])
def test_seventy_per_cent_of_the_readings_make_a_usable_day(make, sensed, rules, every, fewest):
    per_day = 1440 // every
    for kept, usable in ((fewest, True), (fewest - 1, False)):
        rng = np.random.default_rng(kept)
        glucose = sensed("2026-03-01", np.full(3 * per_day, 100.0), every)
        inside = (glucose["clock"] >= "2026-03-02 04:00") & (glucose["clock"] < "2026-03-03 04:00")
        hidden = rng.choice(np.flatnonzero(inside), per_day - kept, replace=False)
        table = tabulate(make(glucose.drop(index=hidden).reset_index(drop=True)), rules, "day")
        assert table.frame.loc[DAY, "coverage"] == pytest.approx(kept / per_day)
        assert bool(table.frame.loc[DAY, "usable"]) is usable
        assert np.isnan(table.frame.loc[DAY, "day_mean"]) is np.bool_(not usable)
    assert str(table.frame.loc[DAY, "left_out"]) == (
        f"readings cover {int(100 * (fewest - 1) / per_day)} % of the day, and 70 % are needed"
    )


def test_high_readings_count_as_above_and_low_ones_do_not_enter_a_mean(make, sensed, slept, rules):
    glucose = sensed("2026-03-01", np.full(3 * 288, 100.0))
    hi = (glucose["clock"] >= "2026-03-02 12:00") & (glucose["clock"] < "2026-03-02 13:00")
    lo = (glucose["clock"] >= "2026-03-02 15:00") & (glucose["clock"] < "2026-03-02 16:00")
    glucose.loc[hi | lo, "glucose"] = np.nan
    glucose["censored"] = np.where(hi, 1, np.where(lo, -1, 0)).astype(np.int8)
    table = tabulate(make(glucose, sleep=slept("2026-03-01", 3)), rules, "day")
    day = table.frame.loc[DAY]
    assert day["minutes_above"] == pytest.approx(60)
    assert day["day_mean"] == 100
    assert day["variability"] == 0
    assert day["coverage"] == 1
    assert np.isnan(day["biggest_rise"])
    assert "LO or HI" in str(table.reasons[DAY, "biggest_rise"])
    assert table.context.loc[DAY, "below_54"] == pytest.approx(1 / 24)
    assert table.context.loc[DAY, "above_180"] == pytest.approx(1 / 24)


def test_a_median_stands_until_half_its_readings_are_beyond_the_sensor(make, sensed, slept, rules):
    values = {}
    for many in (5, 6, 7):
        glucose = sensed("2026-03-01", np.full(3 * 288, 100.0))
        first = int(np.flatnonzero(glucose["clock"] == pd.Timestamp("2026-03-02 06:00"))[0])
        glucose.loc[first : first + many - 1, "glucose"] = np.nan
        glucose.loc[first : first + many - 1, "censored"] = np.int8(1)
        table = tabulate(make(glucose, sleep=slept("2026-03-01", 3)), rules, "day")
        values[many] = table.frame.loc[DAY, "wake_glucose"]
    # Of twelve, five HI leave both middle readings at 100; six put one of them beyond.
    assert values[5] == 100
    assert np.isnan(values[6])
    assert np.isnan(values[7])


def test_means_are_unknown_where_too_few_readings_have_a_number(make, sensed, slept, rules):
    glucose = sensed("2026-03-01", np.full(3 * 288, 100.0))
    hi = (glucose["clock"] >= "2026-03-02 07:00") & (glucose["clock"] < "2026-03-02 15:00")
    glucose.loc[hi, "glucose"] = np.nan
    glucose.loc[hi, "censored"] = np.int8(1)
    table = tabulate(make(glucose, sleep=slept("2026-03-01", 3)), rules, "day")
    # 8 of 24 hours at HI: 66 % have a number, too few for a mean; the time above is known.
    assert np.isnan(table.frame.loc[DAY, "day_mean"])
    assert "66 %" in str(table.reasons[DAY, "day_mean"])
    assert table.frame.loc[DAY, "minutes_above"] == pytest.approx(480)


def test_a_row_without_a_value_is_no_reading(make, sensed, rules):
    glucose = sensed("2026-03-01", np.full(3 * 288, 100.0))
    blank = (glucose["clock"] >= "2026-03-02 12:00") & (glucose["clock"] < "2026-03-02 18:00")
    glucose.loc[blank, "glucose"] = np.nan
    table = tabulate(make(glucose), rules, "day")
    assert table.frame.loc[DAY, "coverage"] == pytest.approx(18 / 24)
    assert table.context.loc[DAY, "readings"] == 216


def test_left_out_readings_are_not_used(make, sensed, slept, rules):
    glucose = sensed("2026-03-01", np.full(3 * 288, 100.0))
    odd = (glucose["clock"] >= "2026-03-02 12:00") & (glucose["clock"] < "2026-03-02 13:00")
    glucose.loc[odd, "glucose"] = 300.0
    glucose["left_out"] = np.where(odd, "pressure_low", "")
    table = tabulate(make(glucose, sleep=slept("2026-03-01", 3)), rules, "day")
    assert table.frame.loc[DAY, "minutes_above"] == 0
    assert table.frame.loc[DAY, "coverage"] == pytest.approx(23 / 24)


def test_the_same_outcomes_by_the_clock_use_the_usual_waking(make, sensed, rules):
    # Wakings 06:00, 07:00, 09:00: usual 07:00.
    sleep = [
        {"start": "2026-02-28 23:00", "end": "2026-03-01 06:00"},
        {"start": "2026-03-01 23:00", "end": "2026-03-02 09:00"},
        {"start": "2026-03-02 23:00", "end": "2026-03-03 07:00"},
    ]
    change = [("2026-03-02 06:00", "2026-03-02 07:00", 130.0)]
    _, table = two_days(sensed, rules, make, change, sleep=sleep)
    assert table.frame.loc[DAY, "wake_glucose"] == 100
    assert table.by_clock.loc[DAY, "wake_glucose"] == 130
    assert table.by_clock.loc["2026-03-01", "day_mean"] == pytest.approx(100 + 30 / 24)


def test_outcomes_and_factors_stand_in_the_order_of_the_rule_book(make, sensed, rules):
    table = tabulate(make(sensed("2026-03-01", np.full(3 * 288, 100.0))), rules, "day")
    assert table.outcomes == tuple(rules.outcomes_of("day"))
    assert table.factors == tuple(n for n in rules.factors_of("day") if n != "tag:*")
    assert list(table.by_clock.columns) == list(table.outcomes)
    assert list(table.measures.columns) == list(table.factors)


def test_a_rise_with_half_of_its_top_beyond_the_sensor_is_unknown(make, sensed, rules):
    # readings 12 minutes apart at the gap: the top's 15 minutes hold HI and one number
    values = np.full(2 * 288, 100.0)
    values[144:160] = 160.0
    glucose = sensed("2026-03-01", values)
    glucose = glucose.drop(index=range(138, 144)).reset_index(drop=True)
    high = glucose["clock"] == np.datetime64("2026-03-01T12:00")
    glucose = glucose.assign(glucose=glucose["glucose"].mask(high), censored=high.astype(np.int8))
    table = tabulate(make(glucose), rules, "day")
    assert np.isnan(table.frame["biggest_rise"].iloc[0])
    assert "beyond what the sensor can show" in str(table.reasons["2026-03-01", "biggest_rise"])
