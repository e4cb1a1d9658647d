"""Days as drawn and descriptive measures, against a naive reading of the same records."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.tables import tabulate
from miner.tables.day_review import STEP_MIN, day_pictures
from miner.tables.glucose.published import measures_of
from miner.tables.measures import records_of

Make = Callable[..., Client]


@pytest.fixture
def four_days(make: Make, sensed: Any, slept: Any) -> Client:
    """Four days every 5 minutes from midnight, waking at 07:00, one rise of 60 on the second."""
    rng = np.random.Generator(np.random.PCG64(7))
    values = 100 + rng.normal(0, 4, 4 * 288)
    at = 288 + 15 * 12
    values[at : at + 24] += 60 * np.sin(np.linspace(0, np.pi, 24))
    values[600:640] = np.nan
    glucose = sensed("2026-03-02", values)
    glucose = glucose[glucose["glucose"].notna()].reset_index(drop=True)
    return make(
        glucose,
        sleep=slept("2026-03-02", 5),
        meals=[{"time": "2026-03-02T12:00", "label": "rice"}, {"time": "2026-03-04T12:00"}],
        tags=[{"start": "2026-03-03T09:00", "tag": "tired"}, {"start": "2026-03-03T10:00",
              "tag": "metformin"}],
    )  # fmt: skip


def test_the_spread_is_that_of_the_readings_from_waking_to_waking(
    four_days: Client, rules: RuleBook
) -> None:
    table = tabulate(four_days, rules, "day")
    days, _ = day_pictures(four_days, table, rules, "day_mean")
    frame = four_days.streams["glucose"].set_index("clock")["glucose"]
    for day in days:
        if day.day not in ("2026-03-02", "2026-03-03", "2026-03-04"):
            continue
        following = f"2026-03-{int(day.day[-2:]) + 1:02d}"
        inside = frame[f"{day.day} 07:00" : f"{following} 06:59"]  # type: ignore[misc]
        # numpy's default is type 7 of Hyndman & Fan 1996.
        assert day.spread == pytest.approx(np.quantile(inside, [0.05, 0.25, 0.5, 0.75, 0.95]))
        assert day.wake == pytest.approx(table.frame.loc[day.day, "wake_glucose"])


def test_the_series_holds_the_median_of_every_quarter_of_an_hour(
    four_days: Client, rules: RuleBook
) -> None:
    days, series = day_pictures(four_days, tabulate(four_days, rules, "day"), rules, None)
    frame = four_days.streams["glucose"].set_index("clock")["glucose"]
    naive = frame.resample(f"{STEP_MIN}min").median()
    begin = str(naive.index[0])
    shift = next(k for k, v in enumerate(series.values) if v is not None)
    assert begin.startswith("2026-03-02 00:00")
    for k, value in enumerate(naive):
        told = series.values[k + shift]
        assert (told is None) == bool(np.isnan(value))
        assert told is None or told == pytest.approx(value, abs=0.051)
    second = next(day for day in days if day.day == "2026-03-03")
    assert second.end - second.start == 24 * 60
    assert [day.high for day in days] == [None] * len(days)


def test_notes_and_rises_without_a_meal_are_counted_by_day(
    four_days: Client, rules: RuleBook
) -> None:
    days, _ = day_pictures(four_days, tabulate(four_days, rules, "day"), rules, None)
    by_day = {day.day: day for day in days}
    assert [by_day[f"2026-03-0{k}"].meals for k in (2, 3, 4)] == [1, 0, 1]
    assert by_day["2026-03-03"].unlogged_rises == 1
    assert sum(day.unlogged_rises for day in days) == 1
    assert by_day["2026-03-03"].tags == 1


def test_no_rise_lacks_a_meal_where_no_meal_is_noted_at_all(
    make: Make, sensed: Any, rules: RuleBook
) -> None:
    values = np.full(3 * 288, 100.0)
    values[300:324] += 60 * np.sin(np.linspace(0, np.pi, 24))
    client = make(sensed("2026-03-02", values))
    days, _ = day_pictures(client, tabulate(client, rules, "day"), rules, None)
    assert days
    assert [day.unlogged_rises for day in days] == [0] * len(days)


def test_a_record_without_readings_has_no_days(make: Make, rules: RuleBook) -> None:
    client = make()
    days, series = day_pictures(client, tabulate(client, rules, "day"), rules, None)
    assert days == ()
    assert series.values == ()


def test_few_readings_have_no_spread(make: Make, sensed: Any, rules: RuleBook) -> None:
    client = make(sensed("2026-03-02T12:00", [100.0] * 11))
    days, _ = day_pictures(client, tabulate(client, rules, "day"), rules, None)
    assert [day.spread for day in days] == [None]


def test_the_measures_are_those_of_a_naive_reading(four_days: Client, rules: RuleBook) -> None:
    found = {
        str(m.name): m
        for m in measures_of(four_days, tabulate(four_days, rules, "day"), (70.0, 140.0))
    }
    values = four_days.streams["glucose"]["glucose"].to_numpy()
    # Every reading stands for 5 minutes, so the weighted figures are the plain ones.
    assert found["Mean"].value == pytest.approx(values.mean())
    assert found["SD"].value == pytest.approx(values.std(ddof=1))
    assert found["CV"].value == pytest.approx(values.std(ddof=1) / values.mean())
    inside = ((values >= 70) & (values <= 140)).mean()
    assert found["Time from 70 to 140 mg/dL"].value == pytest.approx(inside)
    assert found["Time above 140 mg/dL"].value == pytest.approx((values > 140).mean())
    assert found["Worn"].value == pytest.approx((len(values) - 1) / (4 * 288 - 1))
    assert found["Highest reading"].value == values.max()
    assert found["Lowest reading"].value == values.min()


def test_a_range_of_ones_own_is_measured_too(four_days: Client, rules: RuleBook) -> None:
    found = measures_of(four_days, tabulate(four_days, rules, "day"), (80.0, 120.0))
    own = next(item for item in found if str(item.name) == "Time from 80 to 120 mg/dL")
    values = four_days.streams["glucose"]["glucose"].to_numpy()
    assert own.value == pytest.approx(((values >= 80) & (values <= 120)).mean())


def test_without_readings_a_measure_is_not_known(make: Make, rules: RuleBook) -> None:
    client = make()
    found = measures_of(client, tabulate(client, rules, "day"), (70.0, 140.0))
    assert {item.value for item in found} == {None}


def test_tags_that_name_a_medicine_are_listed(four_days: Client, rules: RuleBook) -> None:
    assert list(records_of(four_days, rules).tags.kinds["medicine"]) == ["metformin"]
