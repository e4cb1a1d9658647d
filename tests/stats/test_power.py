from math import isnan, nan, sqrt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import nct, ttest_ind
from scipy.stats import t as student
from statsmodels.stats.power import TTestIndPower

from miner.stats.power import (
    AtHand,
    detectable,
    new_units_for,
    power,
    power_on_new_units,
)

REFERENCE = Path(__file__).parents[2] / "datasets" / "reference"
ANSWERS = pd.read_csv(REFERENCE / "e_r_timeseries_expected.csv")
ANSWERS = ANSWERS[ANSWERS["id"] == "E-POWER"].set_index("inputs")["value"].astype(float)


def _two_groups(per_group):
    """Standard error (in SD) and df of a difference of two groups of the same size."""
    return sqrt(2 / per_group), 2 * per_group - 2


# R help of power.t.test, first example: n = 20 a group, delta 1 SD: power 0.8689528.
def test_power_of_two_groups_of_twenty():
    answer = ANSWERS["power.t.test n=20 delta=1 sd=1 two-sample"]
    assert answer == pytest.approx(0.86895, abs=5e-6)
    assert power(1, *_two_groups(20), 0.05) == pytest.approx(answer, abs=1e-7)
    assert power(-1, *_two_groups(20), 0.05) == pytest.approx(answer, abs=1e-7)


# R help of power.t.test: n = 22.02110 a group for delta 1 SD and power 0.90. Cohen 1988,
# Statistical Power Analysis, table 2.4: 394, 64, 26 a group for d 0.2, 0.5, 0.8 and power 0.80
# (393.4, 63.8, 25.5 by R's pwr).
@pytest.mark.parametrize(
    ("inputs", "effect", "wanted"),
    [
        ("power.t.test power=.90 delta=1", 1.0, 0.90),
        ("pwr.t.test two-sample d=0.2 sig .05 power .80", 0.2, 0.80),
        ("pwr.t.test two-sample d=0.5 sig .05 power .80", 0.5, 0.80),
        ("pwr.t.test two-sample d=0.8 sig .05 power .80", 0.8, 0.80),
    ],
)
def test_effects_of_published_tables(inputs, effect, wanted):
    per_group = ANSWERS[inputs]
    assert detectable(*_two_groups(per_group), 0.05, wanted) == pytest.approx(effect, rel=1e-5)
    assert power(effect, *_two_groups(per_group), 0.05) == pytest.approx(wanted, abs=1e-5)


# statsmodels as an independent implementation: findings in the effect's own direction are those of
# the one-sided test at half the level.
@pytest.mark.parametrize("level", [0.05, 0.005, 0.0005])
@pytest.mark.parametrize("per_group", [4, 14, 45])
@pytest.mark.parametrize("effect", [1.0, 1.5, 3.0])
def test_agrees_with_a_library(effect, per_group, level):
    answer = TTestIndPower().power(effect, per_group, level / 2, alternative="larger")
    assert power(effect, *_two_groups(per_group), level) == pytest.approx(answer, abs=1e-9)


# Two groups of random numbers, 20,000 times: found as often as predicted.
def test_agrees_with_simulation():
    rng = np.random.default_rng(11)
    with_, without = rng.normal(1.1, 1, (8, 20000)), rng.normal(0, 1, (20, 20000))
    found = ttest_ind(with_, without)
    share = np.mean((found.pvalue <= 0.05) & (found.statistic > 0))
    assert power(1.1, sqrt(1 / 8 + 1 / 20), 26, 0.05) == pytest.approx(share, abs=0.012)


def test_chance_alone_finds_half_the_level_in_either_direction():
    assert power(0, 2.0, 20, 0.05) == pytest.approx(0.025)
    assert detectable(2.0, 20, 0.05, 0.02) == 0


@pytest.mark.parametrize("level", [0.05, 0.001, 1e-5])
@pytest.mark.parametrize("df", [3, 24, 80])
def test_the_detectable_effect_is_detected(df, level):
    for wanted in (0.5, 0.8, 0.95):
        effect = detectable(3.7, df, level, wanted)
        assert power(effect, 3.7, df, level) == pytest.approx(wanted, abs=1e-5)


# Units to come, drawn: a habit on 12 of 40 units and no nuisance but the mean. The share of new
# records in which the one-sided t test (scipy) finds the difference, with at least five units on
# each side, is the power told. Beside it each habit count at the share's own: noncentral t.
@pytest.mark.prove
@pytest.mark.parametrize(("units", "effect"), [(20, 1.2), (45, 0.7), (90, 0.5)])
def test_power_of_new_units_is_what_new_units_show(units, effect):
    rng = np.random.default_rng(3)
    hand = AtHand(effect * sqrt(12 * 28 / 40), 40, 1, 12, 28)
    found = []
    for _ in range(4000):
        habit = rng.random(units) < 12 / 40
        y = rng.normal(size=units) + effect * habit
        if 5 <= habit.sum() <= units - 5:
            found.append(ttest_ind(y[habit], y[~habit], alternative="greater").pvalue <= 0.05)
        else:
            found.append(False)
    told = power_on_new_units(hand, units, 0.05, least=5, fixed_rank=1)
    assert told == pytest.approx(np.mean(found), abs=0.03)


# The same habit count for certain: 1 unit of 2 has it, so that the count hardly matters (its first
# order is 0), and the noncentral t of scipy.
def test_power_of_new_units_of_a_dose():
    hand = AtHand(1.5, 50, 4, 25, 25)
    told = power_on_new_units(hand, 100, 0.025)
    grown = 1.5 * sqrt(2)
    df = 100 - 8 - 1
    assert told == pytest.approx(nct.sf(student.ppf(0.975, df), df, grown), abs=0.01)


def test_a_habit_that_is_unknown_half_the_time_takes_twice_as_long():
    whole, half = AtHand(2.0, 40, 3, 20, 20), AtHand(2.0, 80, 6, 20, 20)
    at = [new_units_for(hand, 0.05, 0.8, 0, 400) for hand in (whole, half)]
    assert at[1] == pytest.approx(2 * at[0], rel=0.1)


@pytest.mark.parametrize("t", [0.5, 1.5, 3.0, 6.0])
def test_the_number_of_new_units_is_the_smallest_that_will_do(t):
    hand = AtHand(t, 40, 4, 12, 26)

    def reached(n):
        return power_on_new_units(hand, n, 0.05, 5) >= 0.8

    total = new_units_for(hand, 0.05, 0.8, 5)
    answer = next((n for n in range(1, 1001) if reached(n)), None)
    assert total == answer
    if total is not None:
        assert new_units_for(hand, 0.05, 0.8, 5, limit=total) == total
        assert new_units_for(hand, 0.05, 0.8, 5, limit=total - 1) is None


def test_no_new_units_show_what_cannot_be_compared():
    assert power_on_new_units(AtHand(3.0, 40, 4, 0, 0), 100, 0.05) == 0
    assert power_on_new_units(AtHand(nan, 40, 4, 20, 20), 100, 0.05) == 0
    assert power_on_new_units(AtHand(3.0, 40, 4, 20, 20), 4, 0.05) == 0
    assert power_on_new_units(AtHand(3.0, 40, 4, 2, 38), 40, 0.05, least=5) < 0.2


@pytest.mark.parametrize(("se", "df"), [(0.0, 10), (nan, 10), (1.0, 0), (1.0, nan), (-1.0, 10)])
def test_undefined(se, df):
    assert isnan(power(1.0, se, df, 0.05))
    assert isnan(detectable(se, df, 0.05))


def test_what_is_huge_is_always_found() -> None:
    assert [power(effect, 1, 21, 0.05) for effect in (30, 45, 1e6)] == [1, 1, 1]
