from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from miner.stats.multiplicity import holm, holm_levels

REFERENCE = Path(__file__).parents[2] / "datasets" / "reference"


# C-BH95: the 15 p-values of Benjamini and Hochberg 1995, J R Stat Soc B 57:289-300, adjusted by
# R's p.adjust. C-HOLM4: 0.01, 0.04, 0.03, 0.005, a common textbook case, adjusted likewise.
@pytest.mark.parametrize("name", ["C-BH95", "C-HOLM4"])
def test_published_p_values(name):
    rows = pd.read_csv(REFERENCE / "c_r_association_expected.csv")
    rows = rows[(rows["id"] == name) & (rows["stat"] == "holm")]
    assert len(rows) in {4, 15}
    p = rows["inputs"].str.split("=").str[1].astype(float).to_numpy()
    np.testing.assert_allclose(holm(p), rows["value"].astype(float), atol=1e-9)


# Benjamini and Hochberg 1995, section 3.2: Bonferroni's inequality rejects three hypotheses at
# 0.05; Holm's procedure three as well (scipy's documentation, R).
def test_how_many_are_rejected():
    p = [
        0.0001,
        0.0004,
        0.0019,
        0.0095,
        0.0201,
        0.0278,
        0.0298,
        0.0344,
        0.0459,
        0.3240,
        0.4262,
        0.5719,
        0.6528,
        0.7590,
        1.000,
    ]
    assert (holm(p) <= 0.05).sum() == 3


p_values = st.lists(
    st.floats(0, 1) | st.sampled_from([0.0, 0.01, 0.05, 1.0]), min_size=1, max_size=30
)


# statsmodels as an independent implementation (its Holm takes 50 ms a call, hence few examples).
@settings(derandomize=True, max_examples=40, deadline=None)
@given(p=p_values)
def test_agrees_with_a_library(p):
    passed, adjusted = multipletests(p, alpha=0.05, method="holm")[:2]
    np.testing.assert_allclose(holm(p), adjusted, atol=1e-12)
    np.testing.assert_array_equal(np.array(p) <= holm_levels(p, 0.05), passed)


# Four questions, worked by hand: 0.005 <= 0.05/4 and 0.01 <= 0.05/3 pass; 0.03 > 0.05/2 fails,
# and 0.04, which would have 0.05 alone, shares the level of that step.
def test_the_level_of_each_step():
    found = holm_levels([0.01, np.nan, 0.04, 0.03, 0.005], 0.05)
    np.testing.assert_allclose(found, [0.05 / 3, np.nan, 0.025, 0.025, 0.0125])
    np.testing.assert_allclose(holm_levels([0.04, 0.01], 0.05), [0.05, 0.025])
    assert holm_levels([], 0.05).shape == (0,)


@settings(derandomize=True, max_examples=100, deadline=None)
@given(p=p_values, seed=st.integers(0, 1000))
def test_the_order_of_the_questions_does_not_matter(p, seed):
    order = np.random.default_rng(seed).permutation(len(p))
    np.testing.assert_array_equal(holm(p)[order], holm(np.array(p)[order]))


def test_what_was_not_asked_stays_unknown_and_is_not_counted():
    p = np.array([0.01, np.nan, 0.04, 0.03, 0.005, np.nan])
    before = p.copy()
    found = holm(p)
    np.testing.assert_array_equal(np.isnan(found), np.isnan(p))
    np.testing.assert_array_equal(found[[0, 2, 3, 4]], holm(p[[0, 2, 3, 4]]))
    assert holm([]).shape == (0,)
    assert np.isnan(holm([np.nan])).all()
    np.testing.assert_array_equal(p, before)
