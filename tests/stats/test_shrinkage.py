from math import inf, nan, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm
from scipy.stats import t as student

from miner.stats.effects import expected


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


# The same by brute force, with the density of Student's t from scipy.
@settings(derandomize=True, max_examples=100, deadline=None)
@given(
    difference=st.floats(-20, 20),
    se=st.floats(0.5, 10),
    spread=st.floats(0.5, 10),
    df=st.floats(2, 90),
)
def test_agrees_with_bayes_rule_where_the_standard_error_is_estimated(difference, se, spread, df):
    grid = np.linspace(-10, 10, 40001) * spread
    weight = student.pdf((difference - grid) / se, df) * norm.pdf(grid / spread)
    weight /= weight.sum()
    mean = (grid * weight).sum()
    found = expected(difference, se, spread, df)
    assert found.difference == pytest.approx(mean, rel=1e-4, abs=1e-4 * spread)
    spread_left = sqrt(((grid - mean) ** 2 * weight).sum())
    assert found.standard_error == pytest.approx(spread_left, rel=1e-3)


# A mass at 0 beside the normal: both densities by quadrature (Gauss-Legendre, nodes from numpy),
# Student's t from scipy.
@settings(derandomize=True, max_examples=25, deadline=None)
@given(
    difference=st.floats(-20, 20),
    se=st.floats(0.5, 10),
    spread=st.floats(0.5, 10),
    df=st.one_of(st.just(inf), st.floats(2, 90)),
    share=st.floats(0.01, 1.0),
)
def test_a_mass_at_zero_agrees_with_quadrature(difference, se, spread, df, share):
    def seen(size):
        gap = (difference - size) / se
        return norm.pdf(gap) if df == inf else student.pdf(gap, df)

    # where both densities are, in pieces
    ends = np.linspace(min(0.0, difference) - 9 * spread, max(0.0, difference) + 9 * spread, 80)
    half = np.diff(ends)[:, None] / 2
    nodes, weights = np.polynomial.legendre.leggauss(21)
    sizes = ends[:-1, None] + half * (nodes + 1)
    density = weights * half * seen(sizes) * norm.pdf(sizes, 0, spread)

    def moment(power):
        return (sizes**power * density).sum()

    whole = share * moment(0) + (1 - share) * seen(0.0)
    mean = share * moment(1) / whole
    found = expected(difference, se, spread, df, share)
    assert found.difference == pytest.approx(mean, rel=1e-4, abs=1e-6)
    left = sqrt(share * moment(2) / whole - mean**2)
    assert found.standard_error == pytest.approx(left, rel=1e-3, abs=1e-6)


# Few of many habits matter: what is expected of those that pass is what is true of them, and by
# the spread alone, as if all mattered, too much is expected.
def test_what_is_expected_where_few_are_true():
    rng = np.random.default_rng(8)
    months, share, se = 60000, 0.1, 0.8
    true = np.where(rng.random(months) < share, rng.normal(size=months), 0.0)
    seen = true + se * rng.normal(size=months)
    picked = np.flatnonzero(np.abs(seen) > 1.96 * se)
    way = np.sign(seen[picked])

    def ratio(told):
        sizes = [expected(seen[at], se, 1.0, share=told).difference for at in picked]
        return (way * sizes).sum() / (way * true[picked]).sum()

    assert ratio(share) == pytest.approx(1.0, abs=0.06)
    assert ratio(1.0) > 1.5


# One true difference in each of many months, its noise of any size, the largest picked: the sum
# expected is the sum true.
def test_what_is_expected_of_the_largest_is_what_is_true_of_them():
    rng = np.random.default_rng(5)
    df, spread, months = 12, 1.0, 40000
    true = rng.normal(0, spread, months)
    level = np.exp(rng.uniform(-1.5, 2, months))
    se = level * np.sqrt(rng.chisquare(df, months) / df)
    seen = true + level * rng.normal(size=months)
    picked = np.flatnonzero(np.abs(seen / se) > student.ppf(0.995, df))
    sign = np.sign(seen[picked])

    def ratio(degrees):
        told = [expected(seen[at], se[at], spread, degrees).difference for at in picked]
        return (sign * told).sum() / (sign * true[picked]).sum()

    assert picked.size > 1000
    assert ratio(df) == pytest.approx(1.0, abs=0.03)
    assert ratio(inf) > 1.04


def test_edges():
    known_exactly = expected(4.0, 0.0, 5.0)
    assert (known_exactly.difference, known_exactly.standard_error) == (4.0, 0.0)
    no_spread = expected(4.0, 2.0, 0.0)
    assert (no_spread.difference, no_spread.standard_error) == (0.0, 0.0)
    nothing_learnt = expected(4.0, inf, 5.0)
    assert (nothing_learnt.difference, nothing_learnt.standard_error) == (0.0, 5.0)
    # One in four matters, and nothing was learnt: the SD of the mixture is half the spread.
    assert expected(4.0, inf, 5.0, share=0.25).standard_error == 2.5
    far = expected(400.0, 1.0, 5.0, share=1e-6)
    assert far.difference == pytest.approx(expected(400.0, 1.0, 5.0).difference, rel=1e-9)


@pytest.mark.parametrize(
    "given_", [(nan, 1, 1), (1, nan, 1), (1, 1, nan), (1, 0, 0), (nan, inf, 1)]
)
def test_undefined(given_):
    found = expected(*given_)
    assert np.isnan([found.difference, found.standard_error]).all()
