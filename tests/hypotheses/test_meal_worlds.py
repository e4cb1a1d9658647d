"""Meals of a day are not witnesses of their own: a small, seeded part of the calibration."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.calibration.meal_worlds import MealWorld, claims, diary, power
from miner import rulebook
from miner.hypotheses.design import design

RULES = rulebook.load()
SHARED = MealWorld(1.0, 0.5)
SEEDS = range(16)


@pytest.mark.prove
def test_days_that_share_their_meals_are_not_claimed_and_shuffled_rows_are():
    """Nominal 5 %: of 16 diaries more than 3 claims come once in 100 such tests.

    Shuffling the rows claims in 40 of 100 of them: under 2 of 16 come once in 100.
    """
    shipped, _, shuffled = zip(*(claims(SHARED, 28, k, 199, RULES) for k in SEEDS), strict=True)
    assert sum(shipped) <= 3
    assert sum(shuffled) >= 2


def test_a_true_effect_of_one_meal_is_found():
    assert sum(power(SHARED, 60, k, 199, RULES) for k in range(4)) >= 2


def test_what_the_diaries_are():
    table = diary(SHARED, 28, 3)
    frame = table.frame
    assert frame.index.is_unique
    assert frame.groupby("date").size().between(3, 5).all()
    assert (frame.groupby("date")["tag:0"].nunique() == 1).all()
    assert frame.groupby("date")["food:0"].nunique().max() == 2
    plan = design(table, RULES)
    assert plan.unit == "meal"
    assert {"meal dinner", "meal lunch", "meal snack"} <= set(plan.nuisance_names)
    assert len(np.unique(plan.times)) == 28


def test_the_level_before_a_meal_is_nuisance():
    table = diary(SHARED, 28, 3)
    frame = table.frame.assign(baseline=np.linspace(80, 120, len(table.frame)))
    frame.loc[frame.index[:5], "baseline"] = np.nan
    plan = design(replace(table, frame=frame), RULES)
    level = plan.nuisance[:, plan.nuisance_names.index("baseline")]
    unknown = plan.nuisance[:, plan.nuisance_names.index("baseline unknown")]
    assert (level[:5] == 0).all()
    np.testing.assert_allclose(level.sum(), 0, atol=1e-9)
    assert unknown.tolist() == [1.0] * 5 + [0.0] * (len(frame) - 5)
