"""Rows of the meal log that are no food, foods of one cell, and which meal an occasion was."""

from __future__ import annotations

import numpy as np
import pytest

from miner.tables import check, tabulate
from miner.tables.food.eating import FoodWords, NoFood, food_of, parts_of, without_amounts
from miner.tables.food.foods import terms

DAYS = 20
D = "2026-03-05"


@pytest.fixture(scope="session")
def client_of(make, sensed, slept):
    glucose = sensed("2026-03-01", np.full(DAYS * 288, 100.0))

    def client(*meals, **given):
        return make(glucose, sleep=slept("2026-03-01", DAYS), meals=list(meals), **given)

    return client


def meal(time, label="", kind="", day="05", **more):
    return {"time": f"2026-03-{day} {time}", "label": label, "meal": kind, **more}


THREE = [
    meal("07:30", "toast", "breakfast", carbs_g=30, protein_g=5),
    meal("12:30", "soup", "lunch", carbs_g=40, protein_g=12),
    meal("19:00", "pasta", "dinner", carbs_g=70, protein_g=20),
]


# What treats a low, notes a medicine or tells nothing: common knowledge, no source.
@pytest.mark.parametrize(
    ("label", "why"),
    [
        ("Correction", NoFood.LOW),
        ("glucose tablets", NoFood.LOW),
        ("3 x glucose", NoFood.LOW),
        ("x2 Glucose tabs", NoFood.LOW),
        ("juice (hypo)", NoFood.LOW),
        ("snack: hypo treatment", NoFood.LOW),
        ("Insulin 4u", NoFood.MEDICINE),
        ("metformin 500 mg\nstatin", NoFood.MEDICINE),
        ("Not reported", NoFood.NOT_REPORTED),
        ("breakfast: unknown", NoFood.NOT_REPORTED),
        ("n/a", NoFood.NOT_REPORTED),
        ("None", NoFood.NOTHING),
        ("skipped lunch", NoFood.NOTHING),
        ("toast, metformin", None),
        ("glucose biscuits", None),
        ("unknown soup", None),
        ("low fat yoghurt", None),
        ("high dose of vegetables, cake", None),
        ("Lunch", None),
        ("", None),
    ],
)
def test_a_row_is_no_food_by_its_words(rules, label, why):
    assert FoodWords.of(rules.cautions).why(label, amount=False) is why


@pytest.mark.parametrize("label", ["unknown", "not reported", "none"])
def test_a_row_that_tells_an_amount_is_food_whatever_it_does_not_say(rules, label):
    assert FoodWords.of(rules.cautions).why(label, amount=True) is None


def test_a_word_taken_out_of_the_rule_book_makes_it_food_again(rules, client_of):
    book = rules.cautions.model_copy(update={"low_treatment_words": ()})
    other = rules.model_copy(update={"cautions": book, "hash": "other"})
    client = client_of(*THREE, meal("21:30", "correction, 2 sweets", carbs_g=15, protein_g=0))
    assert len(food_of(client, rules).occasions) == 3
    assert len(food_of(client, other).occasions) == 4


@pytest.mark.parametrize(
    "row",
    [
        meal("21:30", "sweets", "not_food", carbs_g=16, protein_g=0),
        meal("21:30", "glucose tablets", "snack", carbs_g=16, protein_g=0),
        meal("21:30", "insulin", "snack"),
    ],
)
def test_what_is_no_food_is_no_snack_no_meal_and_no_last_food(client_of, rules, row):
    client = client_of(*THREE, row, meal("22:30", "tea", "snack", carbs_g=1, protein_g=0))
    table = tabulate(client, rules, "day")
    assert table.measures.loc[D, "evening_snack"] == 1
    assert table.measures.loc[D, "carb_only_snack"] == 0
    assert table.measures.loc[D, "high_carb_day"] == 141
    meals = tabulate(client, rules, "meal")
    assert f"{D}T21:30" not in meals.frame.index
    assert meals.measures.loc[f"{D}T22:30", "soon_after_food"] == 3.5


def test_a_treated_low_cuts_what_is_read_after_a_meal_but_a_medicine_does_not(client_of, rules):
    low = meal("20:00", "glucose tablets", carbs_g=16)
    table = tabulate(client_of(*THREE, low), rules, "meal")
    assert np.isnan(table.frame.loc[f"{D}T19:00", "rise"])
    assert table.context.loc[f"{D}T19:00", "cut_min"] == 60
    table = tabulate(client_of(*THREE, meal("20:00", "insulin 4u")), rules, "meal")
    assert table.frame.loc[f"{D}T19:00", "rise"] == 0


def test_what_is_not_reported_may_have_been_food(client_of, rules):
    late = meal("21:30", "not reported", "snack")
    table = tabulate(client_of(*THREE, late), rules, "day")
    assert np.isnan(table.frame.loc[D, "evening_snack"])
    assert np.isnan(table.frame.loc[D, "carb_only_snack"])
    assert np.isnan(table.measures.loc[D, "high_carb_day"])
    assert table.frame.loc[D, "long_eating_window"] != 1
    first = meal("07:10", "unknown", "breakfast")
    table = tabulate(client_of(first, *THREE[1:], meal("21:30", "tea")), rules, "day")
    assert np.isnan(table.frame.loc[D, "no_breakfast"])
    assert np.isnan(table.frame.loc[D, "walk_after_breakfast"])
    nothing = meal("07:10", "none", "breakfast")
    table = tabulate(client_of(nothing, *THREE[1:], meal("21:30", "tea")), rules, "day")
    assert table.frame.loc[D, "no_breakfast"] == 1


def test_a_dinner_that_is_not_reported_is_not_the_snack_after_it(client_of, rules):
    rows = [*THREE[:2], meal("19:00", "not reported", "dinner"), meal("21:30", "crisps")]
    table = tabulate(client_of(*rows), rules, "day")
    assert np.isnan(table.frame.loc[D, "late_dinner"])


def test_the_check_counts_what_was_read_as_no_food_and_shows_one(client_of, rules):
    rows = [
        meal("10:00", "sweets", "not_food"),
        meal("15:00", "x glucose"),
        meal("16:00", "metformin"),
        meal("17:00", "2 x glucose"),
    ]
    client = client_of(*THREE, *rows)
    found = {
        item.code: item for item in check(client, tabulate(client, rules, "day"), rules).findings
    }
    sure, words = found["no_food_by_type"], found["no_food_by_word"]
    assert (sure.count, sure.file) == (1, "meals.csv")
    assert words.count == 3
    assert "1 notes a medicine" in words.what
    assert "2 are food for a low" in words.what
    assert "'x glucose'" in words.what
    assert "cautions.toml" in words.do


@pytest.mark.parametrize(
    ("label", "foods"),
    [
        ("Rice 150 g\nSpinach 100 g", ["rice", "spinach"]),
        ("2 x toast, 200ml milk", ["toast", "milk"]),
        ("toast x1; half a banana + yoghurt", ["toast", "banana", "yoghurt"]),
        ("Rice 150 g Spinach 100 g", ["rice", "spinach"]),
        ("1/2 pizza and 1,5 l water", ["pizza", "water"]),
        ("7up", ["up"]),
    ],
)
def test_the_foods_of_one_cell_are_parted_and_cleaned_of_amounts(label, foods):
    assert terms(label) >= {food for food in foods if len(food) > 2}
    assert not any(char.isdigit() for term in terms(label) for char in term)
    assert {"g", "ml", "x", "half", "rice spinach", "toast milk"} & terms(label) == set()


def test_amounts_alone_are_no_food_and_names_with_numbers_stay():
    assert parts_of("150 g") == []
    assert without_amounts("vitamin b12 2 tablets") == "vitamin tablets"
    assert without_amounts("half a glass of milk") == "of milk"


def test_several_foods_in_one_cell_are_one_meal(client_of, rules):
    rows = [
        meal("12:30", "Rice 150 g\nSpinach 100 g, metformin", "lunch", day=f"{k:02d}")
        for k in range(2, 9)
    ]
    others = [meal("19:00", "soup", "dinner", day=f"{k:02d}") for k in range(2, 9)]
    table = tabulate(client_of(*rows, *others), rules, "meal")
    assert len(table.frame) == 14
    # what always comes together is one factor, under its longest word; the medicine is none
    foods = [name for name in table.factors if name.startswith("food:")]
    assert foods == ["food:soup", "food:spinach"]


def test_rows_of_one_minute_are_one_meal_and_a_main_meal_names_it(client_of, rules):
    rows = [meal("12:30", "apple", "snack"), meal("12:30", "soup", "lunch")]
    (found,) = food_of(client_of(*rows), rules).occasions
    assert (found.kind, len(found.rows)) == ("lunch", 2)


def test_a_word_out_of_its_hours_names_no_meal(client_of, rules):
    # The two cases of a word that stood against the clock: no dinner, and a snack as a late one.
    rows = [*THREE[:2], meal("20:36", "porridge, as at breakfast 2", carbs_g=50)]
    table = tabulate(client_of(*rows), rules, "day")
    assert table.measures.loc[D, "late_dinner"] == pytest.approx(20.6)
    rows = [
        *THREE[:2],
        meal("18:00", "Standard lunch", carbs_g=60),
        meal("21:12", "crisps", carbs_g=15),
    ]
    table = tabulate(client_of(*rows), rules, "day")
    assert table.measures.loc[D, "late_dinner"] == 18
    assert table.frame.loc[D, "evening_snack"] == 1


def test_a_type_comes_before_a_word_and_a_word_before_the_size(client_of, rules):
    rows = [
        *THREE[:2],
        meal("18:00", "dinner for later", "snack", carbs_g=20),
        meal("19:30", "Dinner: salad", carbs_g=20),
        meal("20:30", "cake", carbs_g=60),
    ]
    assert tabulate(client_of(*rows), rules, "day").measures.loc[D, "late_dinner"] == 19.5
    typed = [*rows, meal("21:30", "rest of it", "dinner", carbs_g=10)]
    assert tabulate(client_of(*typed), rules, "day").measures.loc[D, "late_dinner"] == 21.5
