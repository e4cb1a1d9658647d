"""Meals with no glucose around, at one minute, inside sleep; walks with no end; 400 in a day."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from miner import steps
from miner.records.client import LeftOutDay
from miner.tables import tabulate


@pytest.fixture
def flat(sensed):
    return sensed("2026-03-01", np.full(6 * 288, 100.0))


def test_no_meals_at_all(make, flat, rules):
    table = tabulate(make(flat), rules, "meal")
    assert len(table.frame) == 0
    assert table.outcomes == ("rise", "area_2h", "peak", "minutes_above")
    assert table.frame["usable"].dtype == bool


def test_no_glucose_at_all(make, rules):
    table = tabulate(make(meals=[{"time": "2026-03-03 12:00", "label": "lunch"}]), rules, "meal")
    assert table.frame["left_out"].astype(str).tolist() == [
        "there are no glucose readings on that day"
    ]
    assert table.frame[list(table.outcomes)].isna().all(axis=None)


def test_meals_with_no_glucose_around_are_left_out_and_told(make, flat, rules):
    part = flat[flat["clock"].dt.hour != 13]
    meals = [{"time": f"{day} 12:30", "label": "x"} for day in ("2026-03-03", "2026-04-20")]
    table = tabulate(make(part, meals=meals), rules, "meal")
    assert table.frame["usable"].tolist() == [False, False]
    near, far = table.frame["left_out"].astype(str)
    assert near == "readings cover 50 % of the 2 hours after it, and 70 % are needed"
    assert far == "there are no glucose readings on that day"


def test_two_meals_at_one_minute_are_one(make, flat, rules):
    meals = [
        {"time": "2026-03-03 12:00", "label": "rice", "carbs_g": 40},
        {"time": "2026-03-03 12:00", "label": "beans", "carbs_g": 30},
    ]
    table = tabulate(make(flat, meals=meals), rules, "meal")
    assert table.frame["carbs_g"].tolist() == [70]
    assert len(table.sources[table.frame.index[0], "high_carb"]) == 2


def test_a_meal_inside_sleep_is_left_out_and_told(make, flat, slept, rules):
    meals = [{"time": f"2026-03-03 {at}", "label": "x"} for at in ("03:00", "07:00")]
    table = tabulate(make(flat, meals=meals, sleep=slept("2026-03-01", 6)), rules, "meal")
    assert table.frame["left_out"].astype(str).tolist() == [
        "it is noted during a recorded sleep",
        "",
    ]


def test_days_left_out_leave_their_meals_out(make, flat, slept, rules):
    meals = [{"time": f"2026-03-0{k} 12:00", "label": "x"} for k in (3, 4)]
    told = LeftOutDay(date(2026, 3, 3), "a wedding", None)
    table = tabulate(
        make(flat, meals=meals, left_out=[told], sleep=slept("2026-03-01", 6)), rules, "meal"
    )
    assert table.frame["left_out"].astype(str).tolist() == [
        "it is left out in client.toml (a wedding)",
        "",
    ]


def test_four_hundred_meals_in_a_day(make, flat, rules):
    meals = [
        {
            "time": np.datetime64("2026-03-03T06:00") + np.timedelta64(2 * k, "m"),
            "label": f"bite {k}",
        }
        for k in range(400)
    ]
    table = tabulate(make(flat, meals=meals), rules, "meal")
    assert table.frame.index.is_unique
    assert len(table.frame) == 50  # sixteen minutes apart: 800 minutes of entries
    assert table.frame["rise"].notna().sum() == 1  # the last; all others are cut
    assert "next food came after 16" in str(table.reasons[table.frame.index[0], "rise"])


def test_the_repeated_hour_gives_every_meal_a_name_of_its_own(make, sensed, rules):
    """25 October 2026, Lisbon: 01:30 comes twice."""
    glucose = sensed("2026-10-23", np.full(4 * 288, 100.0), zone="Europe/Lisbon")
    client = make(glucose, meals=[{"time": "2026-10-25 03:00", "label": "x"}], zone="Europe/Lisbon")
    meals = client.streams["meals"]
    for minutes, place in ((-150, 0), (-90, 1)):
        client.streams["meals"].loc[place] = meals.iloc[0]
        offset = np.timedelta64(minutes, "m")
        client.streams["meals"].loc[place, "time"] = np.datetime64("2026-10-25T03:00") + offset
        client.streams["meals"].loc[place, "clock"] = np.datetime64("2026-10-25T01:30")
    table = tabulate(client, rules, "meal")
    assert table.frame.index.tolist() == ["2026-10-25T01:30+01:00", "2026-10-25T01:30+00:00"]


@pytest.mark.parametrize(
    "row",
    [
        "2026-03-03T12:10,,walking",
        "2026-03-03T11:40,soon,walking",  # it may have gone on into the meal
        "2026-03-03T12:10,2026-03-03T12:00,walking",
        "2026-03-03T12:10,2026-03-05T12:10,walking",
    ],
)
def test_a_walk_whose_end_cannot_be_used_is_unknown_not_no(tmp_path, row):
    times = [
        str(np.datetime64("2026-03-02T00:00") + np.timedelta64(5 * k, "m")) for k in range(864)
    ]
    lines = ["time,glucose_mg_dl", *(f"{time},100" for time in times)]
    (tmp_path / "glucose.csv").write_text("\n".join(lines) + "\n")
    meals = [f"2026-03-0{day}T12:00,lunch" for day in (2, 3, 4)]
    (tmp_path / "meals.csv").write_text("\n".join(["time,label", *meals]) + "\n")
    worn = [f"2026-03-0{day}T17:00,2026-03-0{day}T17:20,walking" for day in (2, 3, 4)]
    seen = "2026-03-04T12:20,2026-03-04T12:40,walking"
    rows = ["start,end,kind", row, row.replace("-03T", "-04T"), seen, *worn]
    (tmp_path / "activity.csv").write_text("\n".join(rows) + "\n")
    table = steps.meals(steps.read_client(tmp_path))
    walked = table.frame["walk_after"].tolist()
    assert walked[0] == 0
    assert np.isnan(walked[1])
    assert walked[2] == 1  # twenty minutes at the least, whatever else there was
    name = table.frame.index[1]
    why = "a record of activity at that time has an end that cannot be used"
    assert str(table.reasons[name, "walk_after"]) == why
    days = steps.days(steps.read_client(tmp_path))
    assert days.frame["walk_after_lunch"].isna().tolist()[:2] == [False, True]


def test_stress_whose_end_cannot_be_used_is_unknown_not_none(tmp_path):
    times = [
        str(np.datetime64("2026-03-02T00:00") + np.timedelta64(5 * k, "m")) for k in range(864)
    ]
    lines = ["time,glucose_mg_dl", *(f"{time},100" for time in times)]
    (tmp_path / "glucose.csv").write_text("\n".join(lines) + "\n")
    (tmp_path / "meals.csv").write_text(
        "time,label\n2026-03-03T12:00,lunch\n2026-03-04T12:00,lunch\n"
    )
    rows = ["start,duration", "2026-03-03T11:00,", "2026-03-03T17:00,20", "2026-03-04T17:00,20"]
    (tmp_path / "stress.csv").write_text("\n".join(rows) + "\n")
    (tmp_path / "sources.toml").write_text(
        '[[source]]\nfile = "stress.csv"\nstream = "stress"\n[source.columns]\n'
        'start = "start"\nduration = "duration"\n[source.units]\nduration = "min"\n'
    )
    table = steps.meals(steps.read_client(tmp_path))
    assert table.frame["after_stress"].isna().tolist() == [True, False]


def test_a_walk_with_no_end_from_files(tmp_path):
    times = [
        str(np.datetime64("2026-03-02T00:00") + np.timedelta64(5 * k, "m")) for k in range(864)
    ]
    lines = ["time,glucose_mg_dl", *(f"{time},100" for time in times)]
    (tmp_path / "glucose.csv").write_text("\n".join(lines) + "\n")
    (tmp_path / "meals.csv").write_text("time,label\n2026-03-03T12:00,lunch\n")
    rows = [
        "start,end,kind",
        "2026-03-03T12:10,,walking",
        "2026-03-03T17:00,2026-03-03T17:20,walking",
    ]
    (tmp_path / "activity.csv").write_text("\n".join(rows) + "\n")
    client = steps.read_client(tmp_path)
    assert any(item.file == "activity.csv" and item.row == 2 for item in client.findings)
    table = steps.meals(client)
    assert len(table.frame) == 1  # told by the reader, and no fault here


def test_the_order_of_rows_changes_nothing(make, flat, rules):
    meals = [{"time": f"2026-03-0{d} {h}:00", "label": f"food {h}", "carbs_g": h + d}
             for d in (2, 3, 4) for h in (10, 13, 19)]  # fmt: skip
    one = tabulate(make(flat, meals=meals), rules, "meal")
    other = tabulate(make(flat, meals=meals[::-1]), rules, "meal")
    assert one.frame.equals(other.frame)


def test_a_day_of_four_hundred_meals_and_a_label_of_one_minute_are_asked_about(tmp_path):
    times = [
        str(np.datetime64("2026-03-02T00:00") + np.timedelta64(5 * k, "m")) for k in range(864)
    ]
    lines = ["time,glucose_mg_dl", *(f"{time},100" for time in times)]
    (tmp_path / "glucose.csv").write_text("\n".join(lines) + "\n")
    start = np.datetime64("2026-03-03T06:00")
    bites = [f"{start + np.timedelta64(2 * k, 'm')},bite {k}," for k in range(400)]
    soup = ["2026-03-04T12:00,Soup,20", "2026-03-04T12:00,soup,40", "2026-03-04T12:00,bread,15"]
    (tmp_path / "meals.csv").write_text("\n".join(["time,label,carbs_g", *bites, *soup]) + "\n")
    told = {item.what: item.row for item in steps.check(steps.read_client(tmp_path)).findings}
    assert "more than 40 meals noted on 1 day (2026-03-03 (400))" in told
    (again,) = (what for what in told if "same minute" in what)
    assert again.startswith("1 meal noted again")
    assert told[again] == 403
