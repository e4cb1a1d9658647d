"""Eating and tag factors: what is not logged is unknown, never "no"."""

from __future__ import annotations

import numpy as np
import pytest

from miner import steps
from miner.records.columns import NO_TIME
from miner.rulebook import load
from miner.steps.exporting import export
from miner.tables import tabulate
from miner.tables.day_review import day_pictures, noted_between

DAYS = 12
D = "2026-03-03"


@pytest.fixture(scope="session")
def table_of(make, sensed, slept, rules):
    glucose = sensed("2026-03-01", np.full(DAYS * 288, 100.0))

    def table(meals=(), **given):
        given.setdefault("sleep", slept("2026-03-01", DAYS))
        return tabulate(make(glucose, meals=list(meals), **given), rules, "day")

    return table


def yes_no(table, name, day=D):
    value = table.frame.loc[day, name]
    return None if np.isnan(value) else bool(value)


def meal(time, label="", day="03", **more):
    return {"time": f"2026-03-{day} {time}", "label": label, **more}


THREE = [meal("07:30", "breakfast"), meal("12:30", "lunch"), meal("19:00", "dinner")]


@pytest.mark.parametrize(
    ("time", "late", "hours"),
    [("20:59", False, 20 + 59 / 60), ("21:00", True, 21), ("23:50", True, 23 + 50 / 60)],
)
def test_late_dinner_begins_at_nine_by_the_clock(table_of, time, late, hours):
    table = table_of([*THREE[:2], meal(time, "dinner")])
    assert yes_no(table, "late_dinner") is late
    assert table.measures.loc[D, "late_dinner"] == pytest.approx(hours)


def test_a_dinner_after_midnight_belongs_to_the_day_before_and_is_late(make, sensed, slept, rules):
    glucose = sensed("2026-03-01", np.full(DAYS * 288, 100.0))
    rows = [*THREE[:2], meal("00:30", "supper", day="04")]
    table = tabulate(
        make(glucose, sleep=slept("2026-03-01", DAYS, "01:30", "08:00"), meals=rows), rules, "day"
    )
    assert table.measures.loc[D, "late_dinner"] == 24.5
    assert yes_no(table, "late_dinner") is True


@pytest.mark.parametrize("name", ["late_dinner", "high_carb_dinner", "walk_after_dinner"])
def test_without_a_dinner_the_dinner_factors_are_unknown_whatever_else_is_logged(table_of, name):
    rows = [meal("07:30", "breakfast", carbs_g=20), meal("10:00", "snack"), meal("12:30", "lunch")]
    table = table_of(rows, activity=[{"start": "2026-03-03 08:00", "kind": "walk"}])
    assert yes_no(table, name) is None
    assert str(table.reasons[D, name]) == "no dinner is noted that day"


COUNTED = [
    "evening_snack",
    "carb_only_snack",
    "no_breakfast",
    "long_eating_window",
    "high_carb_day",
]


@pytest.mark.parametrize("name", COUNTED)
def test_with_fewer_than_two_occasions_what_is_counted_is_unknown(table_of, name):
    table = table_of([meal("19:00", "dinner", carbs_g=50, protein_g=10)])
    assert yes_no(table, name) is None
    assert "1 meal was noted that day, and 2 are needed" in str(table.reasons[D, name])
    assert yes_no(table, name, "2026-03-04") is None


def test_rows_within_a_quarter_of_an_hour_are_one_occasion(table_of):
    table = table_of([meal("19:00", "rice", carbs_g=40), meal("19:15", "beans", carbs_g=30)])
    assert yes_no(table, "long_eating_window") is None
    assert table.measures.loc[D, "high_carb_dinner"] == 70
    assert yes_no(table, "high_carb_dinner") is True


@pytest.mark.parametrize(
    ("given", "high"),
    [
        ({"carbs_g": 60}, True),
        ({"carbs_g": 59}, False),
        ({"carbs_level": "high"}, True),
        ({"carbs_level": "moderate"}, False),
        ({"carbs_level": "low"}, False),
        ({"carbs_g": 20, "carbs_level": "high"}, False),  # grams where known
        ({}, None),
    ],
)
def test_a_high_carbohydrate_dinner_by_grams_else_by_level_else_unknown(table_of, given, high):
    table = table_of([*THREE[:2], meal("19:00", "dinner", **given)])
    assert yes_no(table, "high_carb_dinner") is high
    assert ((D, "high_carb_dinner") in table.reasons) == (high is None)


@pytest.mark.parametrize(
    ("given", "only"),
    [
        ({"carbs_g": 15, "protein_g": 4.9}, True),
        ({"carbs_g": 14, "protein_g": 1}, False),
        ({"carbs_g": 30, "protein_g": 5}, False),
        ({"carbs_level": "high", "protein_level": "low"}, True),
        ({"carbs_level": "low", "protein_level": "low"}, False),
        ({"carbs_g": 30}, None),
        ({"carbs_g": 10}, False),  # too little, whatever the protein
        ({"protein_g": 12}, False),  # protein enough, whatever the carbohydrate
        ({}, None),
    ],
)
def test_a_carbohydrate_only_snack(table_of, given, only):
    table = table_of([*THREE, meal("16:00", "snack", **given)])
    assert yes_no(table, "carb_only_snack") is only


def test_one_known_snack_decides_even_where_another_is_not_told(table_of):
    known = meal("16:00", "snack", carbs_g=30, protein_g=1)
    assert yes_no(table_of([*THREE, known, meal("10:00", "snack")]), "carb_only_snack") is True


def test_three_meals_and_no_snack_is_a_day_without_one(table_of):
    table = table_of(THREE)
    assert yes_no(table, "carb_only_snack") is False
    assert yes_no(table, "evening_snack") is False


def test_an_evening_snack_comes_after_dinner(table_of):
    after = table_of([*THREE, meal("21:30", "snack")])
    before = table_of([*THREE, meal("16:00", "snack")])
    plain = table_of([*THREE, meal("20:00", "fruit")])
    dessert = table_of([*THREE, meal("19:40", "cake")])
    told = [yes_no(table, "evening_snack") for table in (after, before, plain, dessert)]
    assert told == [True, False, True, False]


def test_no_evening_snack_can_be_told_without_a_dinner(table_of):
    assert yes_no(table_of([*THREE[:2], meal("21:30", "snack")]), "evening_snack") is None


@pytest.mark.parametrize(
    ("times", "skipped"),
    [
        (["09:59", "13:00", "19:00"], False),  # 2 h 59 after waking at 07:00
        (["10:00", "13:00", "19:00"], True),
        (["10:00", "19:00"], None),  # one later occasion: the log may have begun late
        (["08:00", "19:00"], False),
    ],
)
def test_no_breakfast_needs_a_late_first_food_and_two_later_ones(table_of, times, skipped):
    table = table_of([meal(time) for time in times])
    assert yes_no(table, "no_breakfast") is skipped


def test_no_breakfast_needs_a_recorded_waking(table_of, slept):
    rows = slept("2026-03-01", DAYS)
    del rows[2]
    table = table_of([meal(time) for time in ("11:00", "14:00", "19:00")], sleep=rows)
    assert yes_no(table, "no_breakfast") is None
    assert "no main sleep" in str(table.reasons[D, "no_breakfast"])


@pytest.mark.parametrize(("last", "long"), [("19:30", True), ("19:29", False)])
def test_a_long_eating_window_is_twelve_hours(table_of, last, long):
    table = table_of([meal("07:30"), meal(last)])
    assert yes_no(table, "long_eating_window") is long


def carbs_by_day(grams):
    rows = []
    for k, amount in enumerate(grams):
        for time, share in (("08:00", 0.25), ("19:00", 0.75)):
            grams_here = np.nan if amount is None and time == "08:00" else share * (amount or 200)
            rows.append(meal(time, day=f"{k + 1:02d}", carbs_g=grams_here))
    return rows


def test_a_high_carbohydrate_day_is_the_clients_own_highest_quarter(table_of):
    # Nine known days, 100 ... 180 g: quantile 0.75 is 160, above it are 170 and 180.
    table = table_of(carbs_by_day([100, 110, 120, 130, 140, 150, 160, 170, 180]))
    assert table.frame["high_carb_day"].tolist()[:9] == [0, 0, 0, 0, 0, 0, 0, 1, 1]
    assert table.frame["high_carb_day"].iloc[9:].isna().all()


def test_a_meal_without_carbohydrate_makes_the_day_unknown_unless_the_rest_is_past_the_cut(
    table_of,
):
    # The tenth day knows 150 g of its dinner only; the quarter begins above 160 or 120.
    low = table_of(carbs_by_day([100, 110, 120, 130, 140, 150, 160, 170, 180, None]))
    assert yes_no(low, "high_carb_day", "2026-03-10") is None
    assert "the carbohydrate of one of the day's meals" in str(
        low.reasons["2026-03-10", "high_carb_day"]
    )
    high = table_of(carbs_by_day([60, 70, 80, 90, 100, 110, 120, 130, 140, None]))
    assert yes_no(high, "high_carb_day", "2026-03-10") is True
    assert np.isnan(high.measures.loc["2026-03-10", "high_carb_day"])


def test_unnamed_occasions_take_the_place_their_time_gives_them(table_of):
    # The largest from 16:00 on is dinner where every one of them tells carbohydrate ...
    table = table_of(
        [meal("19:00", "pasta", carbs_g=80), meal("22:00", "fruit", carbs_g=15), meal("13:00")]
    )
    assert table.measures.loc[D, "late_dinner"] == 19
    assert yes_no(table, "evening_snack") is True
    # ... else the last one between 17:00 and 23:59.
    table = table_of([meal("16:30"), meal("18:00"), meal("20:00"), meal("12:00")])
    assert table.measures.loc[D, "late_dinner"] == 20
    assert yes_no(table_of([meal("12:00"), meal("16:30")]), "late_dinner") is None


def test_a_snack_is_never_taken_for_a_dinner(table_of):
    table = table_of([meal("07:30"), meal("12:30"), meal("18:00", "afternoon snack")])
    assert yes_no(table, "late_dinner") is None


def test_the_meal_column_goes_before_the_words_of_the_label(table_of):
    rows = [
        meal("13:00", "dinner leftovers", meal="lunch"),
        meal("21:15", "lunch box", meal="dinner"),
    ]
    assert table_of(rows).measures.loc[D, "late_dinner"] == 21.25


def tag(word, day, time="12:00"):
    return {"start": f"2026-03-{day:02d} {time}", "tag": word}


def test_a_tag_is_unknown_before_its_first_use_and_no_only_on_days_with_a_log(table_of):
    rows = [tag("wine", day) for day in (4, 6, 8)] + [tag("sauna", 3), tag("sauna", 7)]
    table = table_of([meal("12:00", day="05")], tags=rows)
    told = [yes_no(table, "tag:wine", f"2026-03-{day:02d}") for day in range(1, 12)]
    assert told == [None, None, None, True, False, True, False, True, None, None, None]
    assert str(table.reasons["2026-03-03", "tag:wine"]) == "the client had not used this tag yet"
    assert str(table.reasons["2026-03-09", "tag:wine"]) == "nothing was noted that day"


def test_only_tags_of_three_days_are_factors(table_of):
    rows = [tag("wine", day) for day in (4, 6, 8)] + [tag("rain", 5), tag("rain", 6)]
    rows += [tag("rain", 5, "15:00")]
    table = table_of(tags=rows)
    assert [name for name in table.factors if name.startswith("tag:")] == ["tag:wine"]


def test_at_most_twenty_tags_the_commonest(table_of):
    rows = [tag(f"word {k:02d}", day) for k in range(25) for day in range(2, 5 + k % 2)]
    names = [name for name in table_of(tags=rows).factors if name.startswith("tag:")]
    # Words with an odd number stand on four days... none of the twelve may be missing.
    often = [f"tag:word {k:02d}" for k in range(1, 25, 2)]
    assert len(names) == 20
    assert set(often) <= set(names)


@pytest.mark.parametrize(
    "word", ["metformin 500", "Antibiotics", "vitamin c", "pregnant", "a cold", "fever", "pills"]
)
def test_medicines_pregnancy_and_illness_are_never_factors(table_of, word):
    table = table_of(
        tags=[tag(word, day) for day in (3, 5, 7)] + [tag("wine", d) for d in (3, 5, 7)]
    )
    assert [name for name in table.factors if name.startswith("tag:")] == ["tag:wine"]


@pytest.mark.parametrize("word", ["chill", "pain", "travel", "spill", "overdosed"])
def test_words_that_only_contain_such_a_word_are_ordinary_tags(table_of, word):
    table = table_of(tags=[tag(word, day) for day in (3, 5, 7)])
    assert f"tag:{word}" in table.factors


def test_a_tag_with_an_end_counts_on_every_day_it_touches(table_of):
    rows = [{"start": "2026-03-03 20:00", "end": "2026-03-05 10:00", "tag": "guests"}]
    table = table_of(tags=rows)
    told = [yes_no(table, "tag:guests", f"2026-03-{day:02d}") for day in (2, 3, 4, 5, 6)]
    assert told == [None, True, True, True, None]


def test_sources_name_the_rows(table_of):
    table = table_of(THREE, tags=[tag("wine", day) for day in (3, 5, 7)])
    assert table.sources[D, "late_dinner"] == (("meals.csv", 4),)
    assert table.sources[D, "tag:wine"] == (("tags.csv", 2),)
    assert table.sources[D, "long_eating_window"] == (("meals.csv", 2), ("meals.csv", 4))


def test_a_date_alone_has_no_time_of_day(tmp_path):
    """It is a tag of its day; no meal of that day is known to be near it, and it is not drawn."""
    times = np.arange("2026-03-01", "2026-03-13", np.timedelta64(5, "m"), dtype="datetime64[m]")
    lines = ["time,glucose_mg_dl", *(f"{time},100" for time in times)]
    (tmp_path / "glucose.csv").write_text("\n".join(lines))
    meals = [f"2026-03-{day:02d}T12:20,soup" for day in range(2, 12)]
    (tmp_path / "meals.csv").write_text("\n".join(["time,label", *meals]))
    tags = ["2026-03-03T12:00,wine", "2026-03-05T12:00,wine", "2026-03-06,wine", "2026-03-07,wine"]
    (tmp_path / "tags.csv").write_text("\n".join(["time,tag", *tags]))
    client = steps.read_client(tmp_path)
    days, by_meal = steps.days(client), steps.meals(client)
    assert days.frame.loc["2026-03-06", "tag:wine"] == 1
    told = by_meal.frame["tag:wine"]
    assert (told["2026-03-05T12:20"], told["2026-03-08T12:20"]) == (1, 0)
    assert np.isnan(told["2026-03-06T12:20"])
    assert "without a time" in str(by_meal.reasons["2026-03-06T12:20", "tag:wine"])
    noted = {item.start: item for item in noted_between(client, 0, 2**62) if item.stream == "tags"}
    assert noted["2026-03-06"].date_only
    assert not noted["2026-03-05T12:00"].date_only
    pictures = day_pictures(client, days, load(), None)[1]
    assert sum(note.stream == "tags" for note in pictures.notes) == 2
    out = tmp_path.parent / "taken"
    export(client, "csv", out)
    again = steps.meals(steps.read_client(out)).frame["tag:wine"]
    assert again.equals(told)


def test_what_a_client_called_a_meal_or_a_tag_is_kept_to_the_letter(tmp_path):
    times = [f"2026-03-02T{hour:02d}:{minute:02d}" for hour in range(8, 20) for minute in (0, 30)]
    glucose = ["time,glucose_mg_dl", *(f"{time},100" for time in times)]
    (tmp_path / "glucose.csv").write_text("\n".join(glucose))
    (tmp_path / "meals.csv").write_text('time,label\n2026-03-02T12:20,"tag soup, hot"\n')
    (tmp_path / "tags.csv").write_text("time,tag\n2026-03-02T12:00,tag the client\n")
    client = steps.read_client(tmp_path)
    noted = {item.stream: item for item in noted_between(client, 0, 2**62)}
    assert noted["meals"].own == noted["meals"].text == "tag soup, hot"
    assert (noted["tags"].own, noted["tags"].text) == ("tag the client", "tag tag the client")
    assert "own" not in noted["tags"].to_dict()
    pictures = day_pictures(client, steps.days(client), load(), None)[1]
    assert {note.text for note in pictures.notes} == {"tag soup, hot", "tag the client"}


EATING = [
    "high_carb_day", "high_carb_dinner", "carb_only_snack", "evening_snack", "late_dinner",
    "no_breakfast", "long_eating_window",
]  # fmt: skip


def test_food_at_an_unknown_time_makes_the_food_of_its_day_unknown(table_of):
    """A second supper, a breakfast, a snack: it may have been any of them."""
    known = [{**each, "carbs_g": 60, "protein_g": 9} for each in THREE]
    untimed = meal("12:00", "rice", carbs_g=80, protein_g=9, left_out=NO_TIME)
    table = table_of([*known, untimed])
    assert all(yes_no(table, name) is None for name in EATING)
    assert yes_no(table_of(known), "late_dinner") is False


def test_food_at_an_unknown_time_that_says_which_meal_it_was_leaves_the_others(table_of):
    untimed = meal("12:00", "toast", meal="breakfast", left_out=NO_TIME)
    table = table_of([*THREE[1:], meal("15:00", "tea"), untimed])
    assert yes_no(table, "late_dinner") is False
    assert yes_no(table, "no_breakfast") is None
