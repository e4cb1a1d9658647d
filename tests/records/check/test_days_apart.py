"""Streams whose rows lie outside the days of the glucose, and the order of day and month."""

import pandas as pd
import pytest

from miner.records import read_client
from miner.records.propose import propose as proposing
from miner.steps.mapping import map_file


def told(folder) -> list:
    found = read_client(folder.path).findings
    return [item for item in found if item.code in ("days_apart", "rows_outside")]


def meals(folder, days) -> None:
    rows = "".join(f"{day}T12:00,soup\n" for day in days)
    folder.write("meals.csv", f"time,label\n{rows}")


def test_dates_with_day_and_month_turned_are_asked_about(folder):
    """1 to 9 March read as 3 January to 3 September."""
    folder.steady_glucose("2026-03-01", 24 * 20)
    meals(folder, [f"2026-{month:02d}-03" for month in range(1, 10)])
    (item,) = told(folder)
    assert (item.severity, item.code, item.stream) == ("question", "days_apart", "meals")
    assert "With day and month exchanged, 9 of its days would" in item.what


def test_a_log_kept_for_longer_is_only_reported(folder):
    folder.steady_glucose("2026-03-01", 24 * 20)
    meals(folder, pd.date_range("2025-12-01", "2026-03-20").strftime("%Y-%m-%d"))
    (item,) = told(folder)
    assert (item.severity, item.code, item.count) == ("note", "rows_outside", 90)


def test_rows_that_thin_out_on_the_days_of_the_glucose_are_asked_about(folder):
    """Every day for two months before, one day of twenty since."""
    folder.steady_glucose("2026-03-01", 24 * 20)
    days = pd.date_range("2026-01-01", "2026-02-28").strftime("%Y-%m-%d")
    meals(folder, [*days, "2026-03-20"])
    (item,) = told(folder)
    assert (item.severity, item.code) == ("question", "days_apart")


def test_most_rows_inside_ask_nothing(folder):
    folder.steady_glucose("2026-03-01", 24 * 20)
    meals(folder, pd.date_range("2026-02-20", "2026-03-20").strftime("%Y-%m-%d"))
    assert told(folder) == []


@pytest.fixture
def food(folder):
    """A log of 1 to 11 March, day first, which alone may be month first as well."""
    folder.steady_glucose("2026-03-01", 24 * 20)
    rows = "".join(f"{day:02d}/03/2026 12:00;soup\n" for day in range(1, 12))
    return folder.write("food.csv", f"time;food\n{rows}")


def steps(folder, form: str) -> None:
    days = pd.date_range("2026-03-01", "2026-03-20").strftime(form)
    rows = "".join(f"{day} 08:00;{day} 09:00;1200\n" for day in days)
    folder.write("steps.csv", f"start;end;steps\n{rows}")


def test_another_file_decides_the_order_and_is_named(food):
    steps(food, "%d/%m/%Y")
    (found,) = proposing.propose(food.path / "food.csv")
    assert found.entry["time_format"] == "%d/%m/%Y %H:%M"
    (known,) = [each for each in found.known if each.code == "by_other_files"]
    assert known.facts["files"] == ["steps.csv"]


def test_another_file_does_not_decide_against_the_days_of_the_glucose(food):
    steps(food, "%m/%d/%Y")
    (found,) = proposing.propose(food.path / "food.csv")
    (asked,) = found.questions
    assert (asked.key, asked.needed) == ("dates", True)
    assert {each.value: each.facts["near"] for each in asked.options} == {
        "day first": 11,
        "month first": 1,
    }
    map_file(food.path / "food.csv", answers={"dates": "day first"}, write=True)
    assert told(food) == []
