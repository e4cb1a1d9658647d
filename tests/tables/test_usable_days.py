"""Which days are used, and the reason given for every other."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from miner.records.client import LeftOutDay
from miner.tables import tabulate


@pytest.fixture(scope="session")
def flat(sensed):
    return sensed("2026-03-01", np.full(12 * 288, 100.0))


def left_out(table):
    return {int(day[-2:]): str(why) for day, why in table.frame["left_out"].items() if why}


def test_days_the_practitioner_left_out_keep_their_reason(make, flat, rules):
    days = (LeftOutDay(date(2026, 3, 4), "festival", None),)
    table = tabulate(make(flat, left_out=days), rules, "day")
    assert left_out(table) == {4: "it is left out in client.toml (festival)"}
    assert not table.frame.loc["2026-03-04", "usable"]
    # The numbers stay, so that an answer without leaving them out can be shown beside.
    assert table.frame.loc["2026-03-04", "day_mean"] == 100


def test_two_days_around_an_illness_are_left_out(make, flat, rules):
    tags = [{"start": "2026-03-06 18:00", "tag": "fever"}]
    table = tabulate(make(flat, tags=tags), rules, "day")
    assert sorted(left_out(table)) == [4, 5, 6, 7, 8]
    assert set(left_out(table).values()) == {"illness was noted on 2026-03-06"}


def test_medicine_pain_and_travel_tags_leave_no_day_out(make, flat, rules):
    tags = [
        {"start": f"2026-03-0{k} 18:00", "tag": word}
        for k, word in enumerate(("ibuprofen tablet", "pain", "travel"), start=4)
    ]
    assert left_out(tabulate(make(flat, tags=tags), rules, "day")) == {}


def test_seventy_two_hours_after_a_journey_are_left_out(make, sensed, rules):
    # The clock moves by six hours at the instant 2026-03-05 10:00; 72 hours later is the 8th.
    glucose = sensed("2026-03-01", np.full(12 * 288, 100.0))
    later = glucose["time"] >= pd.Timestamp("2026-03-05 10:00")
    glucose.loc[later, "clock"] += pd.Timedelta(hours=6)
    table = tabulate(make(glucose), rules, "day")
    moved = {day for day, why in left_out(table).items() if "clock moved" in why}
    assert moved == {5, 6, 7, 8}
    assert "the clock moved by 6 hours" in left_out(table)[6]


def test_daylight_saving_is_no_journey(make, sensed, rules):
    glucose = sensed("2026-03-27", np.full(4 * 288, 100.0), zone="Europe/Lisbon")
    assert left_out(tabulate(make(glucose, zone="Europe/Lisbon"), rules, "day")) == {}


def test_an_own_cut_rests_on_usable_days_only(make, flat, slept, rules):
    rows = slept("2026-03-01", 12, asleep_min=400)
    for k, row in enumerate(rows):
        row["deep_min"] = 60.0 + k
    for row in rows[:4]:
        row["deep_min"] -= 50
    days = tuple(LeftOutDay(date(2026, 3, k), "away", None) for k in (1, 2, 3, 4))
    table = tabulate(make(flat, sleep=rows, left_out=days), rules, "day")
    # Used: 64 ... 71 minutes of 400; the quantile 0.25 lies at 65.75: 64 and 65 are below it, and
    # so are all four days left out. With them the quarter would end below 64.
    assert table.frame["little_deep_sleep"].tolist() == [1] * 6 + [0] * 6


@pytest.mark.parametrize(
    ("rest", "expected"),
    # 2026-03-01 is a Sunday.
    [(("sat", "sun"), [1, 7, 8]), (("Tuesday", "2026-03-06"), [3, 6]), ((), [])],
)
def test_rest_days_are_week_days_or_dates(make, sensed, rules, rest, expected):
    glucose = sensed("2026-03-01", np.full(8 * 288, 100.0))
    table = tabulate(make(glucose, rest_days=rest), rules, "day")
    assert [int(day[-2:]) for day in table.frame.index[table.frame["rest_day"]]] == expected


def test_sensor_changes_of_client_toml_number_the_sensors(make, flat, rules):
    change = (pd.Timestamp("2026-03-06 12:00"),)
    table = tabulate(make(flat, sensor_changes=change), rules, "day")
    assert table.frame["sensor"].tolist() == ["1"] * 5 + ["2"] * 7


def test_readings_on_demand_between_stored_ones_take_no_day_away(make, sensed, rules):
    # on the third day a reading each minute for an hour: more gaps of 1 than of 15 minutes
    stored = sensed("2026-03-01", np.full(6 * 96, 100.0), 15)
    asked = sensed("2026-03-03 12:01", np.full(140, 100.0), 1)
    glucose = pd.concat([stored, asked]).drop_duplicates("time").sort_values("time")
    table = tabulate(make(glucose.reset_index(drop=True)), rules, "day")
    assert table.frame["usable"].tolist()[:5] == [True] * 5
    assert table.frame["coverage"].tolist()[:5] == [1.0] * 5


def test_a_change_of_cadence_within_the_month_keeps_every_day_covered(make, sensed, rules):
    slow = sensed("2026-03-01", np.full(6 * 96, 100.0), 15, sensor="A")
    fast = sensed("2026-03-07", np.full(6 * 288, 100.0), 5, sensor="B")
    table = tabulate(make(pd.concat([slow, fast], ignore_index=True)), rules, "day")
    assert table.frame["coverage"].iloc[:-1].eq(1).all()
