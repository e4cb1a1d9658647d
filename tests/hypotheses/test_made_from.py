"""A habit that is made from what every test allows for is tested without it."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from small_tables import NAN, RULES, meal_table

from miner import steps
from miner.core import resources
from miner.hypotheses.design import Run, design, nuisance_source
from miner.hypotheses.error_rate import model, world
from miner.hypotheses.rank import rank_table
from miner.hypotheses.tested import whitened
from miner.steps.opening import table_of

SOURCES = ("rest_day", "day_number", "sensor", "meal", "carbs_g", "baseline")


@pytest.fixture(scope="module")
def tables(tmp_path_factory):
    """Both tables of two invented clients."""
    invented, found = resources.invented(), {"day": [], "meal": []}
    for name in ("client-01", "client-02"):
        home = tmp_path_factory.mktemp("made_from") / name
        invented.write_client(home, invented.Scenario(home.name, 28))
        client = steps.read_client(home, RULES)
        for unit, tables in found.items():
            tables.append(table_of(client, RULES, unit))
    return found


def follows(values, source):
    """Whether a column is told by a nuisance column: it rises with it, or is set by its kind."""
    known = values.notna() & source.notna()
    values, source = values[known], source[known]
    if values.nunique() < 2 or source.nunique() < 2:
        return False
    if pd.api.types.is_numeric_dtype(source) and source.nunique() > 2:
        # Both ways: a cut, and a number that rises, or falls, wherever the other does.
        order = source.to_numpy(float).argsort(kind="stable")
        steps = np.diff(values.to_numpy(float)[order])
        return bool((steps >= 0).all() or (steps <= 0).all())
    return bool((values.groupby(source.astype(str)).nunique() == 1).all())


def told_by_nuisance(tables, rules):
    """In every client: one may have travelled in the last days by chance."""
    return set.intersection(*(told_in(table, rules) for table in tables))


def told_in(table, rules):
    found = set()
    for name in table.factors:
        for source in SOURCES:
            if source in table.frame and source not in rules.factor(name, table.unit).made_from:
                columns = (table.measures[name], table.frame[name])
                usable = table.frame["usable"]
                if any(follows(c[usable], table.frame[source][usable]) for c in columns):
                    found.add((name, source))
    return found


@pytest.mark.parametrize("unit", ["day", "meal"])
def test_every_factor_that_nuisance_tells_says_what_it_is_made_from(tables, unit):
    assert told_by_nuisance(tables[unit], RULES) == set()


# The check above finds one that does not say so.
def test_a_factor_that_does_not_say_so_is_found(tables):
    bare = RULES.factors["high_carb"].model_copy(update={"made_from": ()})
    rules = RULES.model_copy(update={"factors": {**RULES.factors, "high_carb": bare}})
    assert told_by_nuisance(tables["meal"], rules) == {("high_carb", "carbs_g")}


def test_every_kind_of_nuisance_says_what_it_is_made_of(tables):
    assert [nuisance_source(name) for name in ("intercept", "sensor a", "meal lunch")] == [
        "", "sensor", "meal",
    ]  # fmt: skip
    for table, _ in tables.values():
        plan = design(table, RULES)
        assert set(plan.nuisance_sources) == {"", *SOURCES} & {"", *table.frame.columns}


def planted(slope):
    """Meals of 40 days whose rise goes up by so much a gram, one in ten without its grams."""
    rng = np.random.default_rng(6)
    table = meal_table(40, seed=2, day_sd=0.3)
    frame = table.frame.copy()
    frame["carbs_g"] = rng.uniform(15, 105, len(frame))
    frame["rise"] = 20 + slope * frame["carbs_g"] + rng.normal(0, 9, len(frame))
    frame["high_carb"] = (frame["carbs_g"] >= 60).astype(float)
    frame.loc[rng.random(len(frame)) < 0.1, ["carbs_g", "high_carb"]] = NAN
    return replace(table, frame=frame, by_clock=frame[["rise"]])


# A rise that goes up with the grams is seen in the habit that is a cut of the grams, and in the
# two habits together; the other habits are tested beside the grams as before.
def test_a_cut_of_the_grams_shows_what_the_grams_do():
    table = planted(0.6)
    found = {item.factors: item for item in rank_table(table, RULES, run=Run(draws=199)).hypotheses}
    grams = table.frame.groupby("high_carb")["carbs_g"].mean()
    assert found[("high_carb",)].difference == pytest.approx(0.6 * (grams[1] - grams[0]), rel=0.15)
    assert found[("high_carb",)].evidence == "clear"
    assert found[("walk_after",)].evidence != "clear"
    beside = RULES.factors["high_carb"].model_copy(update={"made_from": ()})
    rules = RULES.model_copy(update={"factors": {**RULES.factors, "high_carb": beside}})
    before = {
        item.factors: item for item in rank_table(table, rules, run=Run(draws=199)).hypotheses
    }
    assert abs(before[("high_carb",)].difference) < found[("high_carb",)].difference / 2
    assert found[("walk_after",)].difference == before[("walk_after",)].difference


# The columns of either factor are left out for two together.
def test_two_together_are_tested_without_what_either_is_made_from():
    plan = design(planted(0.6), RULES)
    white = whitened(plan, plan.targets[0].values, {})
    assert white.without(frozenset()).rank == white.rank
    assert white.without(frozenset({"carbs_g"})).rank == white.rank - 2
    assert white.without(frozenset({"carbs_g", "meal"})).rank == white.rank - 4
    assert white.without(frozenset({"carbs_g"})).df == white.df + 2


# A sensor that began at a weekend and ended there is the weekend: without the weekend its level
# comes back in its place.
def test_what_a_left_out_column_stood_for_comes_back():
    table = planted(0.0)
    rest = table.frame["rest_day"]
    frame = table.frame.assign(sensor=np.where(rest, "a", "b"))
    plan = design(replace(table, frame=frame), RULES)
    white = whitened(plan, plan.targets[0].values, {})
    assert white.without(frozenset({"rest_day"})).rank == white.rank


# In a month in which nothing is true the grams do nothing either: they are what a habit is.
def test_a_month_in_which_nothing_is_true_has_no_slope():
    table = planted(3.0)
    fitted = model(table, RULES, "rise")
    slopes = []
    for seed in range(20):
        drawn = world(fitted, np.random.default_rng(seed)).frame
        slopes.append(
            np.polyfit(drawn["carbs_g"].dropna(), drawn["rise"][drawn["carbs_g"].notna()], 1)[0]
        )
    assert abs(np.mean(slopes)) < 0.3
