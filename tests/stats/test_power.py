from math import ceil, isnan, nan, sqrt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import ttest_ind
from statsmodels.stats.power import TTestIndPower

from miner.stats.power import detectable, power, units_to_settle

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
# Our function counts whole units over both groups, so it must return twice that, rounded up.
@pytest.mark.parametrize(
    ("inputs", "effect", "wanted"),
    [
        ("power.t.test power=.90 delta=1", 1.0, 0.90),
        ("pwr.t.test two-sample d=0.2 sig .05 power .80", 0.2, 0.80),
        ("pwr.t.test two-sample d=0.5 sig .05 power .80", 0.5, 0.80),
        ("pwr.t.test two-sample d=0.8 sig .05 power .80", 0.8, 0.80),
    ],
)
def test_units_and_effects_of_published_tables(inputs, effect, wanted):
    per_group = ANSWERS[inputs]
    at_hand = units_to_settle(*_two_groups(5), 10, effect, 0.05, wanted)
    assert at_hand == ceil(2 * per_group)
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


# Two groups of random numbers, 20,000 times: found as often as foretold.
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


@pytest.mark.parametrize("effect", [2.5, 4.0, 6.0, 12.0])
def test_the_number_of_units_is_the_smallest_that_will_do(effect):
    se, df, units, level = 3.5, 24, 28, 0.01
    total = units_to_settle(se, df, units, effect, level)

    def reached(n):
        return power(effect, se * sqrt(units / n), df + n - units, level) >= 0.8

    assert total == next(n for n in range(units, 1001) if reached(n))
    assert units_to_settle(se, df, units, effect, level, limit=total) == total
    if total > units:
        assert units_to_settle(se, df, units, effect, level, limit=total - 1) is None


def test_enough_already_needs_no_more():
    assert units_to_settle(1.0, 24, 28, 50.0, 0.05) == 28


def test_never_settled():
    assert units_to_settle(3.5, 24, 28, 0.0, 0.05) is None
    assert units_to_settle(3.5, 24, 28, nan, 0.05) is None
    assert units_to_settle(3.5, 24, 2000, 50.0, 0.05) is None


@pytest.mark.parametrize(("se", "df"), [(0.0, 10), (nan, 10), (1.0, 0), (1.0, nan), (-1.0, 10)])
def test_undefined(se, df):
    assert isnan(power(1.0, se, df, 0.05))
    assert isnan(detectable(se, df, 0.05))
    assert units_to_settle(se, df, 28, 1.0, 0.05) is None
