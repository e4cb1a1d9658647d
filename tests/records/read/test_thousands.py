"""Points between thousands: asked about, never read as decimal points without a word."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from miner.records import read_client
from miner.records.propose import propose as proposing
from miner.records.read.cells import may_part_thousands, without_thousands
from miner.steps.mapping import map_file

WALK = "2026-03-02T{:02d}:00{s}2026-03-02T{:02d}:30{s}walk{s}{}"


def walks(steps: list[str], s: str = ",") -> str:
    rows = [WALK.format(8 + at, 8 + at, each, s=s) for at, each in enumerate(steps)]
    return "\n".join([s.join(["start", "end", "kind", "steps"]), *rows]) + "\n"


def told(client):
    return [item for item in client.findings if item.code == "thousands"]


def texts(*cells: str):
    import pandas as pd

    return pd.Series(list(cells), dtype="str")


@pytest.mark.parametrize("steps", [["950", "1.500"], ["1.500", "2.300"], ["1.234.567", "1.500"]])
def test_undeclared_steps_with_points_are_unknown_and_asked_about(folder, steps):
    folder.steady_glucose().write("activity.csv", walks(steps))
    client = read_client(folder.path)
    (item,) = told(client)
    assert (item.severity, item.column, item.row) == ("question", "steps", 2 + (steps[0] == "950"))
    known = client.streams["activity"]["steps"].tolist()
    assert [value for value in known if not np.isnan(value)] == [950.0] * ("950" in steps)


@pytest.mark.parametrize(("decimal", "read"), [(",", [950, 1500]), (".", [950, 1.5])])
def test_what_map_offers_can_be_saved_and_is_read_so(folder, decimal, read):
    """With commas between the cells too: the answer offered must work."""
    folder.steady_glucose().write("walks.csv", walks(["950", "1.500"]))
    (asked,) = proposing.propose(folder.path / "walks.csv")[0].questions
    assert (asked.key, asked.needed) == ("decimal", True)
    assert [each.facts["shown"] for each in asked.options] == ["1500", "1.500"]
    map_file(folder.path / "walks.csv", answers={"decimal": decimal}, write=True)
    client = read_client(folder.path)
    assert client.streams["activity"]["steps"].tolist() == read
    assert not told(client)


def test_a_comma_for_thousands_is_left_out_where_that_is_the_answer(folder):
    rows = walks(["950", "1,500"], ";")
    folder.steady_glucose().write("walks.csv", rows)
    map_file(folder.path / "walks.csv", answers={"decimal": "."}, write=True)
    assert read_client(folder.path).streams["activity"]["steps"].tolist() == [950, 1500]


def test_a_decimal_comma_in_another_column_says_what_the_point_is(folder):
    rows = "".join(
        f"2026-03-02 {12 + at}:00;soup;{kcal};{carbs}\n"
        for at, (kcal, carbs) in enumerate([("850", "40,5"), ("1.100", "30,5"), ("1.234,5", "8")])
    )
    folder.steady_glucose().write("food.csv", f"time;food;kcal;carbs\n{rows}")
    map_file(folder.path / "food.csv", write=True)
    frame = read_client(folder.path).streams["meals"]
    assert frame["energy_kcal"].tolist() == [850, 1100, 1234.5]


def test_decimals_in_quotes_between_commas_are_read_where_the_comma_is_declared(folder):
    body = 'time,glucose_mmol_l\n2026-03-02T08:00,"5,8"\n2026-03-02T08:05,"6,1"\n'
    folder.write("g.csv", body)
    map_file(folder.path / "g.csv", answers={"decimal": ","}, write=True)
    # 18.0156 mg/dL per mmol/L: 180.156 g/mol, abridged IUPAC standard atomic weights
    glucose = read_client(folder.path).streams["glucose"]["glucose"]
    np.testing.assert_allclose(glucose, [5.8 * 18.0156, 6.1 * 18.0156], rtol=1e-4)


@pytest.mark.parametrize(
    ("cells", "unit"),
    [
        (("1.234", "5.432", "2.500"), "g"),
        (("0.500", "1.500", "950"), ""),
        (("1.5", "1.500", "950"), "count"),
        (("412.500", "398.250"), "min"),
        (("12.500", "0", "0"), "g"),
    ],
)
def test_fractions_are_not_doubted(cells, unit):
    assert not may_part_thousands(texts(*cells), unit).any()


def test_grams_that_would_be_thousands_of_grams_are_fractions(folder):
    """45 g beside 12.375 g: twelve kilograms of carbohydrate are no meal."""
    rows = "".join(
        f"2026-03-02T{8 + at:02d}:00,soup,{each}\n"
        for at, each in enumerate(["45", "12.375", "30", "8.125"])
    )
    folder.steady_glucose().write("meals.csv", f"time,label,carbs_g\n{rows}")
    client = read_client(folder.path)
    assert not told(client)
    assert client.streams["meals"]["carbs_g"].tolist() == [45, 12.375, 30, 8.125]
    assert not proposing.propose(folder.path / "meals.csv")[0].questions


@given(st.lists(st.integers(0, 10**7), min_size=1), st.sampled_from(".,"))
def test_grouped_numbers_are_those_that_python_groups(values, decimal):
    """Python's own formatting with a mark between thousands, read back."""
    other = "," if decimal == "." else "."
    cells = texts(*(f"{each:,}".replace(",", other) for each in values))
    assert without_thousands(cells, decimal).astype("int64").tolist() == values
