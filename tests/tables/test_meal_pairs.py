"""Repeated meals: which two are put side by side, and how much the same meal differs by itself."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from miner.tables.food.foods import pairs_of, repeats_of
from miner.tables.unit_table import UnitTable


def table_of(*rows):
    """Rows of (start, label, grams, rise, walk, late)."""
    columns = ["start", "label", "carbs_g", "rise", "walk_after", "late_meal"]
    frame = pd.DataFrame(rows, columns=columns).assign(usable=True)
    frame.index = pd.Index(frame["start"])
    frame["start"] = pd.to_datetime(frame["start"])
    factors = ("walk_after", "late_meal")
    return UnitTable(
        "meal", frame, ("rise",), factors, frame[list(factors)], frame[["rise"]], {}, {}, frame[[]]
    )


def names(pairs):
    return [(pair.with_[5:10], pair.without[5:10], pair.similar_by) for pair in pairs]


def test_by_label_or_by_amount_and_time_and_each_meal_once():
    table = table_of(
        ("2026-03-01T19:00", "dinner pasta", 60.0, 40.0, 1, 0),
        ("2026-03-02T19:10", "Dinner: Pasta", 61.0, 60.0, 0, 0),
        ("2026-03-03T19:00", "dinner fish", 62.0, 50.0, 0, 0),
        ("2026-03-04T08:00", "porridge", 60.0, 45.0, 0, 0),
        ("2026-03-05T19:00", "stew", 60.0, 30.0, 1, 0),
        ("2026-03-06T19:00", "stew", 60.0, np.nan, 0, 0),
    )
    found = pairs_of(table, "walk_after", "rise")
    assert names(found) == [
        ("03-01", "03-02", "label"), ("03-05", "03-03", "carbohydrate and time"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("grams", "at", "similar"),
    [
        (75.0, "20:30", True),
        (76.0, "19:00", False),
        (60.0, "20:31", False),
        (np.nan, "19:00", False),
    ],
)
def test_fifteen_grams_and_ninety_minutes(grams, at, similar):
    table = table_of(
        ("2026-03-01T19:00", "one", 60.0, 40.0, 1, 0),
        (f"2026-03-02T{at}", "other", grams, 60.0, 0, 0),
    )
    assert bool(pairs_of(table, "walk_after", "rise")) is similar


def test_pairs_that_differ_in_little_else_come_first_and_the_rest_is_told():
    table = table_of(
        ("2026-03-01T20:50", "pasta", 60.0, 40.0, 1, 0),
        ("2026-03-02T21:10", "pasta", 60.0, 60.0, 0, 1),
        ("2026-03-03T20:40", "pasta", 66.0, 50.0, 0, 0),
        ("2026-03-04T20:40", "pasta", 66.0, 50.0, 1, np.nan),
    )
    found = pairs_of(table, "walk_after", "rise")
    assert names(found)[0] == ("03-04", "03-03", "label")  # unknown is no difference
    assert found[1].also_differs == ("late_meal",)


def test_across_midnight_the_clock_is_near():
    table = table_of(
        ("2026-03-01T23:50", "one", 60.0, 40.0, 1, 0), ("2026-03-03T00:10", "two", 60.0, 60.0, 0, 0)
    )
    assert len(pairs_of(table, "walk_after", "rise")) == 1


def test_without_one_side_there_are_no_pairs():
    table = table_of(("2026-03-01T19:00", "pasta", 60.0, 40.0, 1, 0))
    assert pairs_of(table, "walk_after", "rise") == ()
    assert repeats_of(table, "rise").size == 0


def test_repeats_are_the_same_food_amount_hour_and_factor():
    table = table_of(
        ("2026-03-01T19:00", "pasta", 60.0, 40.0, 0, 0),
        ("2026-03-02T19:00", "pasta", 90.0, 99.0, 0, 0),
        ("2026-03-03T19:00", "pasta", 65.0, 52.0, 0, 0),
        ("2026-03-04T12:00", "pasta", 60.0, 10.0, 0, 0),
        ("2026-03-05T19:00", "pasta", 62.0, 20.0, 1, 0),
        ("2026-03-06T19:00", "dinner", 60.0, 30.0, 0, 0),
        ("2026-03-07T19:00", "dinner", 60.0, 30.0, 0, 0),
    )
    assert repeats_of(table, "rise", "walk_after").tolist() == [12.0]
    assert sorted(repeats_of(table, "rise").tolist()) == [12.0]
    more = table_of(
        *[(f"2026-03-{d:02d}T19:00", "eggs", np.nan, float(d), 0, 0) for d in range(1, 8)]
    )
    assert repeats_of(more, "rise").tolist() == [1.0, 1.0, 1.0]  # seven meals, three pairs


def test_of_equally_near_pairs_the_same_food_comes_first_in_any_order_of_its_words():
    table = table_of(
        ("2026-03-01T08:00", "toast, two eggs", 40.0, 40.0, 1, 0),
        ("2026-03-02T08:00", "porridge", 40.0, 60.0, 0, 0),
        ("2026-03-03T08:30", "Breakfast: two eggs with toast", 48.0, 50.0, 0, 0),
        ("2026-03-04T08:30", "three eggs with toast", 60.0, 50.0, 0, 0),
    )
    assert names(pairs_of(table, "walk_after", "rise")) == [("03-01", "03-03", "label")]
