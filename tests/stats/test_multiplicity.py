from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from miner.stats.multiplicity import benjamini_hochberg, holm

REFERENCE = Path(__file__).parents[2] / "datasets" / "reference"
METHODS = {"BH": benjamini_hochberg, "holm": holm}


# C-BH95: the 15 p-values of Benjamini and Hochberg 1995, J R Stat Soc B 57:289-300, adjusted by
# R's p.adjust. C-HOLM4: 0.01, 0.04, 0.03, 0.005, a common textbook case, adjusted likewise.
@pytest.mark.parametrize("name", ["C-BH95", "C-HOLM4"])
@pytest.mark.parametrize("method", METHODS)
def test_published_p_values(name, method):
    rows = pd.read_csv(REFERENCE / "c_r_association_expected.csv")
    rows = rows[(rows["id"] == name) & (rows["stat"] == method)]
    assert len(rows) in {4, 15}
    p = rows["inputs"].str.split("=").str[1].astype(float).to_numpy()
    np.testing.assert_allclose(METHODS[method](p), rows["value"].astype(float), atol=1e-9)


# Benjamini and Hochberg 1995, section 3.2: their procedure rejects four hypotheses at 0.05, the
# one by Bonferroni's inequality three; Holm's three as well (scipy's documentation, R).
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
    assert (benjamini_hochberg(p) <= 0.05).sum() == 4
    assert (holm(p) <= 0.05).sum() == 3


p_values = st.lists(
    st.floats(0, 1) | st.sampled_from([0.0, 0.01, 0.05, 1.0]), min_size=1, max_size=30
)


# statsmodels as an independent implementation (its Holm takes 50 ms a call, hence few examples).
@settings(derandomize=True, max_examples=40, deadline=None)
@given(p=p_values)
def test_agrees_with_a_library(p):
    for own, name in ((holm, "holm"), (benjamini_hochberg, "fdr_bh")):
        np.testing.assert_allclose(own(p), multipletests(p, method=name)[1], atol=1e-12)


@settings(derandomize=True, max_examples=100, deadline=None)
@given(p=p_values, seed=st.integers(0, 1000))
def test_the_order_of_the_questions_does_not_matter(p, seed):
    order = np.random.default_rng(seed).permutation(len(p))
    for adjust in METHODS.values():
        np.testing.assert_array_equal(adjust(p)[order], adjust(np.array(p)[order]))


def test_what_was_not_asked_stays_unknown_and_is_not_counted():
    p = np.array([0.01, np.nan, 0.04, 0.03, 0.005, np.nan])
    before = p.copy()
    for adjust in METHODS.values():
        found = adjust(p)
        np.testing.assert_array_equal(np.isnan(found), np.isnan(p))
        np.testing.assert_array_equal(found[[0, 2, 3, 4]], adjust(p[[0, 2, 3, 4]]))
        assert adjust([]).shape == (0,)
        assert np.isnan(adjust([np.nan])).all()
    np.testing.assert_array_equal(p, before)
