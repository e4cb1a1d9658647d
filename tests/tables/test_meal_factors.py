"""Factors by meal: grams, levels, walks, hours, nights, stress, foods, tags; unknown is not no."""

from __future__ import annotations

import numpy as np
import pytest

from miner.rulebook import load
from miner.tables import tabulate
from miner.tables.food.foods import alike, foods_of, one_name, said, terms

DAYS = 12
NOON = "2026-03-05T12:00"


@pytest.fixture(scope="session")
def table_of(make, sensed, slept, rules):
    glucose = sensed("2026-03-01", np.full(DAYS * 288, 100.0))

    def table(meals=(), **given):
        given.setdefault("sleep", slept("2026-03-01", DAYS))
        return tabulate(make(glucose, meals=list(meals), **given), rules, "meal")

    return table


def meal(time="12:00", label="", day="05", **more):
    return {"time": f"2026-03-{day} {time}", "label": label, **more}


def span(start, end, day="05", **more):
    return {"start": f"2026-03-{day} {start}", "end": f"2026-03-{day} {end}", **more}


def yes_no(table, name, unit=NOON):
    value = table.frame.loc[unit, name]
    return None if np.isnan(value) else bool(value)


@pytest.mark.parametrize(
    ("told", "high", "only", "protein"),
    [
        ({"carbs_g": 60, "protein_g": 15}, True, False, True),
        ({"carbs_g": 59.9, "protein_g": 14.9}, False, False, False),
        ({"carbs_g": 15, "protein_g": 4.9}, False, True, False),
        ({"carbs_g": 14.9, "protein_g": 0}, False, False, False),
        ({"carbs_g": 15, "protein_g": 5}, False, False, False),
        ({"carbs_level": "high", "protein_level": "low"}, True, True, False),
        ({"carbs_level": "moderate", "protein_level": "moderate"}, False, False, True),
        ({"carbs_level": "low"}, False, False, None),
        ({"carbs_g": 70}, True, None, None),
        ({"protein_g": 20}, None, False, True),
        ({}, None, None, None),
    ],
)
def test_grams_where_told_levels_where_not_unknown_where_neither(
    table_of, told, high, only, protein
):
    table = table_of([meal(**told)])
    found = {name: yes_no(table, name) for name in ("high_carb", "carb_only", "with_protein")}
    assert found == {"high_carb": high, "carb_only": only, "with_protein": protein}
    for name, value in found.items():
        assert ((NOON, name) in table.reasons) is (value is None)
        assert table.sources[NOON, name] == (("meals.csv", 2),)
    assert np.isnan(table.frame.loc[NOON, "carbs_g"]) == ("carbs_g" not in told)


def test_two_entries_within_a_quarter_of_an_hour_are_one_meal(table_of):
    parts = [meal("12:00", "rice", carbs_g=40), meal("12:15", "juice", carbs_g=25)]
    table = table_of([*parts, meal("12:16", "fruit", carbs_g=5)])
    assert table.frame.index.tolist() == [NOON, "2026-03-05T12:16"]
    assert yes_no(table, "high_carb") is True
    assert table.frame.loc[NOON, "label"] == "rice, juice"
    half = table_of([meal("12:00", "rice", carbs_g=65), meal("12:05", "juice")])
    assert yes_no(half, "high_carb") is True  # 65 g at least, whatever the juice holds


@pytest.mark.parametrize(
    ("start", "end", "walked"),
    [
        ("12:00", "12:10", True),
        ("12:50", "13:30", True),  # ten minutes of it within the hour
        ("12:51", "13:30", False),
        ("12:20", "12:29", False),
        ("11:30", "12:05", False),
        ("13:00", "14:00", False),
    ],
)
def test_a_walk_after_it_lasts_ten_minutes_within_the_hour(table_of, start, end, walked):
    table = table_of([meal()], activity=[span(start, end, kind="walking")])
    assert yes_no(table, "walk_after") is walked


def test_a_walk_is_unknown_where_the_tracker_was_off_and_no_where_it_was_on(table_of):
    assert yes_no(table_of([meal()]), "walk_after") is None
    walk = [span("09:00", "09:30", day="04", kind="walking")]
    elsewhere = table_of([meal()], activity=walk, sleep=[])
    assert yes_no(elsewhere, "walk_after") is None
    assert str(elsewhere.reasons[NOON, "walk_after"]) == "the tracker recorded nothing that day"
    worn = {"activity": [("2026-03-05 12:00", "2026-03-05 12:29")]}
    half = table_of([meal()], activity=walk, worn=worn)
    assert str(half.reasons[NOON, "walk_after"]).startswith("the tracker was worn for 48 %")
    worn = {"activity": [("2026-03-05 12:00", "2026-03-05 12:30")]}
    assert yes_no(table_of([meal()], activity=walk, worn=worn), "walk_after") is False


def test_late_is_by_the_clock_of_the_biological_day(table_of):
    table = table_of([meal("20:59"), meal("21:00", day="06"), meal("00:30", day="08")])
    assert table.frame["late_meal"].tolist() == [0, 1, 1]
    assert table.frame["date"].tolist() == ["2026-03-05", "2026-03-06", "2026-03-07"]
    assert table.measures["late_meal"].tolist() == pytest.approx([20 + 59 / 60, 21, 24.5])


def test_food_shortly_before(table_of):
    meals = [meal("12:00"), meal("13:59"), meal("15:59"), meal("08:00", day="07")]
    table = table_of(meals)
    first, second, third, alone = table.frame.index
    assert yes_no(table, "soon_after_food", first) is None
    assert str(table.reasons[first, "soon_after_food"]) == "no food is noted before it"
    assert yes_no(table, "soon_after_food", second) is True
    assert yes_no(table, "soon_after_food", third) is False
    assert yes_no(table, "soon_after_food", alone) is None  # one entry is no logged day
    assert "2 are needed" in str(table.reasons[alone, "soon_after_food"])


def test_the_night_and_the_stress_before(table_of, slept):
    nights = slept("2026-03-01", DAYS, asleep_min=420)
    nights[4] |= {"asleep_min": 359}
    stress = [span("09:30", "10:00"), span("12:00", "15:00")]
    table = table_of([meal(), meal(day="06")], sleep=nights, stress=stress)
    other = "2026-03-06T12:00"
    assert (yes_no(table, "after_short_sleep"), yes_no(table, "after_stress")) == (True, True)
    assert yes_no(table, "after_short_sleep", other) is False
    assert yes_no(table, "after_stress", other) is False
    assert table.measures.loc[NOON, "after_stress"] == 30
    short = table_of([meal()], stress=[span("08:30", "09:29")])
    assert yes_no(short, "after_stress") is False  # 29 minutes within the three hours
    assert yes_no(table_of([meal()]), "after_stress") is None
    assert yes_no(table_of([meal()], sleep=[]), "after_short_sleep") is None


def test_a_label_that_comes_back_on_five_days_is_a_factor(table_of):
    days = ["02", "03", "04", "05", "06", "07"]
    meals = [meal("12:00", "Lunch: Lentil soup" if day != "07" else "lunch", day) for day in days]
    meals += [meal("16:00", "an apple", day) for day in days[:4]]
    table = table_of(meals)
    assert [name for name in table.factors if name.startswith("food:")] == ["food:lentil soup"]
    assert yes_no(table, "food:lentil soup") is True
    assert yes_no(table, "food:lentil soup", "2026-03-05T16:00") is False
    assert yes_no(table, "food:lentil soup", "2026-03-07T12:00") is None
    why = str(table.reasons["2026-03-07T12:00", "food:lentil soup"])
    assert why == "the label does not say what was eaten"
    fewer = table_of([item for item in meals if "03-02" not in item["time"]])
    assert not [name for name in fewer.factors if name.startswith("food:")]


def test_words_of_labels():
    assert said("Breakfast: porridge") == "porridge"
    assert said("DINNER") == ""
    assert terms("pasta bolognese with a small salad") == {
        "pasta", "bolognese", "pasta bolognese", "salad",
    }  # fmt: skip
    rules = load()
    eaten = [
        terms(text) for text in ["pasta pesto"] * 3 + ["pasta al forno"] * 3 + ["cold milk"] * 6
    ]
    found = foods_of(eaten, list(range(12)), 5, rules.cautions)
    assert found == ("milk", "pasta")  # a cold is an illness, and no food


def test_a_tag_within_an_hour_of_the_meal(table_of):
    tags = [{"start": f"2026-03-0{day} {at}", "tag": "wine"} for day, at in
            ((3, "12:00"), (5, "13:00"), (6, "13:01"), (8, "11:00"))]  # fmt: skip
    meals = [meal("12:00", "x", day) for day in ("02", "03", "05", "06", "08")]
    table = table_of(meals, tags=tags)
    assert [yes_no(table, "tag:wine", name) for name in table.frame.index] == [
        None, True, True, False, True,
    ]  # fmt: skip
    first = table.frame.index[0]
    assert str(table.reasons[first, "tag:wine"]) == "the client had not used this tag yet"
    assert ("tags.csv", 3) in table.sources[NOON, "tag:wine"]


NAMED = [
    meal(at, f"{name} {k}", f"{k:02d}")
    for k in range(2, 8)
    for name, at in (("breakfast", "09:30"), ("lunch", "14:30"), ("dinner", "22:00"))
]


def test_a_meal_without_a_name_is_named_by_the_clients_own_habit(table_of):
    """This client has lunch at 14:30 and dinner at 22:00: 18:00 is no dinner."""
    unnamed = [meal(at, "food", "09") for at in ("09:00", "11:15", "14:00", "18:00", "21:00")]
    table = table_of([*NAMED, *unnamed])
    kinds = table.frame["meal"].loc["2026-03-09T09:00":].tolist()
    assert kinds == ["breakfast", "snack", "lunch", "snack", "dinner"]
    assert set(table.frame["meal"].iloc[: len(NAMED)]) == {"breakfast", "lunch", "dinner"}


def test_a_main_meal_that_is_never_named_is_known_by_the_hour_at_which_food_comes_back(table_of):
    days = [f"{k:02d}" for k in range(2, 10)]
    hours = {"breakfast": "08:00", "lunch": "13:00", "dinner": "19:00"}
    for missing in hours:
        meals = [
            meal(at, "food" if name == missing else name, day)
            for day in days
            for name, at in hours.items()
        ]
        table = table_of(meals)
        assert table.frame["meal"].tolist() == list(hours) * len(days)
    # Food at 16:00 every day is no breakfast of a client who names lunch and dinner only.
    meals = [meal(at, name, day) for day in days for name, at in list(hours.items())[1:]]
    table = table_of([*meals, *(meal("16:00", "food", day) for day in days)])
    assert table.frame["meal"].tolist() == ["lunch", "snack", "dinner"] * len(days)
    near = table_of([*meals, *(meal("11:00", "food", day) for day in days)])
    assert near.frame["meal"].tolist() == ["snack", "lunch", "dinner"] * len(days)


def test_without_names_the_hours_on_which_food_comes_back_make_the_habit(table_of):
    meals = [
        meal(at, "food", f"{k:02d}") for k in range(2, 10) for at in ("08:00", "13:00", "19:00")
    ]
    table = table_of([*meals, meal("16:10", "food", "05")])
    kinds = dict(zip(table.frame.index, table.frame["meal"], strict=True))
    assert kinds["2026-03-05T08:00"] == "breakfast"
    assert kinds["2026-03-05T13:00"] == "lunch"
    assert kinds["2026-03-05T16:10"] == "snack"
    assert kinds["2026-03-05T19:00"] == "dinner"


def test_the_clock_alone_names_no_meal(table_of):
    table = table_of([meal("08:00"), meal("13:00"), meal("19:00")])
    assert table.frame["meal"].tolist() == ["", "", ""]


def test_of_several_at_the_usual_hour_the_largest_is_the_meal(table_of):
    two = [meal("14:00", "apple", "09", carbs_g=15), meal("15:00", "rice", "09", carbs_g=70)]
    table = table_of([*NAMED, *two])
    assert table.frame["meal"].tolist()[-2:] == ["snack", "lunch"]
    beside = table_of([*NAMED, meal("13:30", "soup", "03", carbs_g=90)])
    assert beside.frame.loc["2026-03-03T13:30", "meal"] == "snack"  # that day's lunch is named


def test_words_of_amount_are_no_food():
    assert terms("a few pieces of melon, 2 slices ham, pack crisps") == {"melon", "ham", "crisps"}
    assert terms("a bowl of oats in milk") == {"oats", "oats in milk", "milk"}


@pytest.mark.parametrize(
    ("one", "many"),
    [
        ("date", "dates"),
        ("egg", "eggs"),
        ("rice cake", "rice cakes"),
        ("tomato", "tomatoes"),
        ("radish", "radishes"),
        ("box", "boxes"),
        ("berry", "berries"),
        ("pie", "pies"),
        ("leche", "leches"),
    ],
)
def test_the_singular_and_the_plural_of_a_food_are_one_word(one, many):
    forms = {one.split()[-1], many.split()[-1]}
    for first, then in ((one, many), (many, one)):
        names = one_name([f"2 {first}", "toast", f"{then} and toast"])
        assert names == dict.fromkeys(forms, first.split()[-1])  # as it was noted first
        assert terms(then, names) == terms(first, names) == terms(first)
        assert alike(f"toast, {one}", names) == alike(f"{many} with toast", names)


@pytest.mark.parametrize(
    "labels",
    [
        ["hummus", "asparagus", "couscous", "molasses"],  # no singular of theirs was noted
        ["sweet potato", "sweets"],  # "sweet" ends nothing
        ["bas", "bass"],
        ["glas", "glass"],
        ["key", "kies"],  # a vowel before the y takes -s
        ["pan", "panes"],
        ["te", "tes"],  # shorter than three letters
        ["pasta", "past"],
        ["green salad", "mixed greens"],
    ],
)
def test_words_that_only_look_like_a_plural_stay_apart(labels):
    assert one_name(labels) == {}


def test_every_form_of_a_word_is_one_with_its_plural():
    names = one_name(["tomatoe", "tomatoes", "2 tomato", "tomatos", "potato"])
    assert names == dict.fromkeys(("tomatoe", "tomatoes", "tomato", "tomatos"), "tomatoe")


def test_a_food_noted_in_both_forms_is_one_habit(table_of):
    days = [f"{k:02d}" for k in range(2, 9)]
    meals = [meal("12:00", "dates, 3" if k % 2 else "a date", day) for k, day in enumerate(days)]
    meals += [meal("18:00", "date cake" if day == "03" else "fish", day) for day in days]
    table = table_of(meals)
    foods = [name for name in table.factors if name.startswith("food:")]
    assert foods == ["food:date", "food:fish"]
    counts = {name: int(table.frame[name].sum()) for name in foods}
    assert counts == {"food:date": 8, "food:fish": 6}
