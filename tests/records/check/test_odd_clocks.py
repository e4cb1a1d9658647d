"""Clocks that cannot be right by themselves, dates of another year, and grams in another unit."""

from __future__ import annotations

import pandas as pd
import pytest

from miner.records import read_client


def meals(hours, days=10):
    rows = [f"2026-03-{d:02d}T{h:02d}:10,soup" for d in range(2, 2 + days) for h in hours]
    return "time,label\n" + "\n".join(rows) + "\n"


def codes(folder):
    return [finding.code for finding in read_client(folder.path).findings]


@pytest.mark.parametrize(("hours", "asked"), [((7, 12, 7), True), ((7, 12, 19), False)])
def test_a_stream_without_an_afternoon_is_asked_about(folder, hours, asked):
    folder.steady_glucose(hours=240).write("meals.csv", meals(hours))
    assert ("half_a_clock" in codes(folder)) == asked


def test_a_few_notes_of_the_morning_are_not_asked_about(folder):
    folder.steady_glucose(hours=240).write("meals.csv", meals((8,)))
    assert "half_a_clock" not in codes(folder)


@pytest.mark.parametrize(("offset", "asked"), [("-05:00", True), ("+00:00", False)])
def test_an_offset_other_than_that_of_the_readings_is_asked_about(folder, offset, asked):
    folder.steady_glucose(hours=240).write("client.toml", 'time_zone = "Europe/Lisbon"\n')
    rows = [f"2026-03-{d:02d}T09:00{offset},tea" for d in range(2, 12)]
    folder.write("meals.csv", "time,label\n" + "\n".join(rows) + "\n")
    found = [f for f in read_client(folder.path).findings if f.code == "offsets_apart"]
    assert bool(found) == asked
    if asked:
        assert "the clock of meals is 5 hours behind that of the readings" in found[0].what


def test_a_few_rows_of_another_year_are_left_out_and_a_year_of_records_is_not(folder):
    folder.steady_glucose(hours=240)
    rows = ["2025-03-05T12:00,soup", *(f"2026-03-{d:02d}T19:00,soup" for d in range(2, 12))]
    folder.write("meals.csv", "time,label\n" + "\n".join(rows) + "\n")
    client = read_client(folder.path)
    assert len(client.used("meals")) == 10
    assert [f.count for f in client.findings if "date that is impossible" in f.what] == [1]
    before = [f"2025-{m:02d}-{d:02d}T19:00,soup" for m in range(2, 10) for d in (3, 9, 15)]
    folder.write("meals.csv", "time,label\n" + "\n".join(before + rows[1:]) + "\n")
    assert len(read_client(folder.path).used("meals")) == 34


def test_the_first_weeks_of_years_of_readings_are_not_of_another_year(folder):
    # the middle eight tenths of five and a half years end 200 days before the last reading
    days = pd.date_range("2021-01-01T12:00", periods=2000, freq="D").strftime("%Y-%m-%dT%H:%M")
    folder.write("glucose.csv", "time,glucose_mg_dl\n" + "".join(f"{day},100\n" for day in days))
    folder.write("meals.csv", "time,label\n" + "".join(f"{day},soup\n" for day in days[::100]))
    client = read_client(folder.path)
    assert len(client.used("glucose")) == 2000
    assert len(client.used("meals")) == 20


@pytest.mark.parametrize(("protein", "asked"), [(3, True), (0, False)])
def test_zeros_for_grams_that_nobody_noted_leave_the_carbohydrate_as_it_is(folder, protein, asked):
    folder.steady_glucose(hours=240)
    rows = [f"2026-03-{d:02d}T12:00,soup,{30 + d},{protein},2,1500" for d in range(2, 12)]
    head = "time,label,carbs_g,protein_g,fat_g,energy_kcal\n"
    folder.write("meals.csv", head + "\n".join(rows) + "\n")
    assert read_client(folder.path).used("meals")["carbs_g"].isna().all() == asked


@pytest.mark.parametrize(("part", "asked"), [(28.35, True), (1.0, False)])
def test_grams_that_give_far_too_little_energy_are_unknown(folder, part, asked):
    # 100 kcal of each of carbohydrate, protein and fat: 25, 25 and 100 / 9 g
    folder.steady_glucose(hours=240)
    grams = ",".join(f"{g / part:.2f}" for g in (25, 25, 100 / 9))
    rows = [f"2026-03-{d:02d}T12:00,soup,{grams},300" for d in range(2, 12)]
    head = "time,label,carbs_g,protein_g,fat_g,energy_kcal\n"
    folder.write("meals.csv", head + "\n".join(rows) + "\n")
    client = read_client(folder.path)
    assert ("grams_unit" in [f.code for f in client.findings]) == asked
    assert client.used("meals")["carbs_g"].isna().all() == asked
