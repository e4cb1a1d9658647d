from math import inf, nan, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from miner.stats.shrinkage import expected


# Berger 1985, Statistical Decision Theory and Bayesian Analysis, 2nd ed., section 4.3, example 2:
# intelligence test, x ~ N(theta, 100), theta ~ N(100, 225), x = 115: posterior mean
# (400 + 9 * 115) / 13 and variance 900 / 13. Recalled, not read. Here as differences from 100.
def test_intelligence_test():
    found = expected(15, sqrt(100), sqrt(225))
    assert found.difference == pytest.approx((400 + 9 * 115) / 13 - 100, rel=1e-12)
    assert found.standard_error**2 == pytest.approx(900 / 13, rel=1e-12)


# Bayes' rule by brute force on a grid as an independent implementation.
@settings(derandomize=True, max_examples=60, deadline=None)
@given(difference=st.floats(-20, 20), se=st.floats(0.5, 10), spread=st.floats(0.5, 10))
def test_agrees_with_bayes_rule_on_a_grid(difference, se, spread):
    grid = np.linspace(-120, 120, 200001)
    logs = norm.logpdf(difference, grid, se) + norm.logpdf(grid, 0, spread)
    weight = np.exp(logs - logs.max())
    weight /= weight.sum()
    mean = (grid * weight).sum()
    found = expected(difference, se, spread)
    assert found.difference == pytest.approx(mean, abs=1e-6)
    spread_left = sqrt(((grid - mean) ** 2 * weight).sum())
    assert found.standard_error == pytest.approx(spread_left, rel=1e-6)


def test_edges():
    known_exactly = expected(4.0, 0.0, 5.0)
    assert (known_exactly.difference, known_exactly.standard_error) == (4.0, 0.0)
    no_spread = expected(4.0, 2.0, 0.0)
    assert (no_spread.difference, no_spread.standard_error) == (0.0, 0.0)
    nothing_learnt = expected(4.0, inf, 5.0)
    assert (nothing_learnt.difference, nothing_learnt.standard_error) == (0.0, 5.0)


@pytest.mark.parametrize(
    "given_", [(nan, 1, 1), (1, nan, 1), (1, 1, nan), (1, 0, 0), (nan, inf, 1)]
)
def test_undefined(given_):
    found = expected(*given_)
    assert np.isnan([found.difference, found.standard_error]).all()
