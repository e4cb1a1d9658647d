from __future__ import annotations

import numpy as np

from benchmarks.calibration.worlds import WORLDS, month
from miner import rulebook
from miner.hypotheses.design import design
from miner.hypotheses.rank import predicted
from miner.stats.out_of_sample import out_of_sample

RULES = rulebook.load()


def test_a_large_true_effect_is_foretold_and_noise_is_not():
    # expected by construction: a shift of 6 SD leaves the average far behind; pure noise does not
    strong = month(WORLDS["independent"], RULES, days=60, factors=6, seed=3, shift=6.0)
    nothing = month(WORLDS["independent"], RULES, days=60, factors=6, seed=3)
    found = predicted(design(strong.table, RULES), "minutes_above")
    assert found.better is True
    assert found.nearer > found.units_held_back / 2
    assert predicted(design(nothing.table, RULES), "minutes_above").better is False


def test_it_is_the_comparison_of_the_items_as_they_meet_the_outcome():
    drawn = month(WORLDS["persistent"], RULES, days=40, factors=5, seed=1)
    plan = design(drawn.table, RULES)
    found = predicted(plan, "overnight_mean")
    target = plan.target("overnight_mean")
    direct = out_of_sample(target.values, np.column_stack([item.values for item in target.items]))
    assert (found.skill, found.nearer) == (direct.skill, direct.nearer)


def test_undefined_with_its_reason_where_there_are_too_few_units_or_no_factors():
    drawn = month(WORLDS["independent"], RULES, days=28, factors=5, seed=1)
    frame = drawn.table.frame
    frame.loc[frame.index[10:], "day_mean"] = np.nan
    found = predicted(design(drawn.table, RULES), "day_mean")
    assert found.better is None
    assert "10 are known" in str(found.reason)
    plan = design(month(WORLDS["independent"], RULES, days=28, factors=0, seed=1).table, RULES)
    assert str(predicted(plan, "day_mean").reason) == "there are no habits"


def test_habits_that_never_varied_foretell_nothing_and_no_count_is_given():
    drawn = month(WORLDS["independent"], RULES, days=40, factors=3, seed=1)
    frame = drawn.table.frame
    for value in (np.nan, 1.0):
        frame[list(drawn.table.factors)] = value
        found = predicted(design(drawn.table, RULES), "day_mean")
        assert (found.better, found.units_held_back) == (None, 0)
        assert str(found.reason) == "no habit varies"
