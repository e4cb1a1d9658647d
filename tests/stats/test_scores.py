import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm, rankdata

from miner.stats.scores import average_ranks, normal_scores, share_tied

values = st.lists(st.integers(-6, 6), min_size=1, max_size=40).map(lambda v: np.array(v, float))


# scipy's ranks, and the formula of Blom 1958 with scipy's normal distribution.
@settings(derandomize=True, deadline=None, max_examples=100)
@given(values)
def test_ranks_and_scores_are_those_of_scipy(y):
    np.testing.assert_array_equal(average_ranks(y), rankdata(y))
    answer = norm.ppf((rankdata(y) - 3 / 8) / (len(y) + 1 / 4))
    np.testing.assert_allclose(normal_scores(y), answer, rtol=1e-12, atol=1e-12)
    both = normal_scores(np.column_stack([y, -y]))
    np.testing.assert_array_equal(both, np.column_stack([normal_scores(y), normal_scores(-y)]))


# Expected values of normal order statistics, n = 5 and n = 10: Harter 1961, Biometrika 48:151,
# table 1. Blom's scores approximate them to within 0.02.
@pytest.mark.parametrize(
    ("n", "largest_first"),
    [(5, [1.16296, 0.49502, 0.0]), (10, [1.53875, 1.00136, 0.65606, 0.37576, 0.12267])],
)
def test_scores_are_near_the_expected_order_statistics(n, largest_first):
    found = normal_scores(np.arange(n, dtype=float))[::-1]
    np.testing.assert_allclose(found[: len(largest_first)], largest_first, atol=0.02)


@settings(derandomize=True, deadline=None, max_examples=50)
@given(values)
def test_scores_see_the_order_only(y):
    np.testing.assert_array_equal(normal_scores(y), normal_scores(np.exp(y / 2) * 100 - 7))
    np.testing.assert_allclose(normal_scores(-y), -normal_scores(y), atol=1e-12)


def test_one_wild_unit_stands_as_high_as_the_highest_rank():
    calm = np.array([1.0, 2.0, 3.0, 4.0, 5.0])
    np.testing.assert_array_equal(normal_scores(calm), normal_scores(np.append(calm[:4], 1e9)))


@pytest.mark.parametrize(
    ("y", "share"),
    [([1, 1, 1, 2], 0.75), ([0, 0, 5, 5, 7], 0.4), ([1, 2, 3], 0.0), ([4], 0.0), ([8, 8], 1.0)],
)
def test_share_tied_by_hand(y, share):
    assert share_tied(np.array(y, float)) == share


def test_of_nothing_no_share_is_tied():
    assert np.isnan(share_tied(np.array([])))
