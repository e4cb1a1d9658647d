"""Means of subsets against the pooling of each subset by itself, here and in statsmodels."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.meta_analysis import combine_effects

from miner.stats.pooling import paule_mandel
from miner.stats.pooling_own import means_of_subsets

effects = st.integers(0, 10_000).map(np.random.default_rng)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(rng=effects, k=st.integers(3, 25), spread=st.sampled_from([0.0, 0.5, 5.0]))
def test_each_subset_is_pooled_as_it_is_alone(rng, k, spread):
    errors = rng.uniform(0.3, 3, k)
    values = 1 + spread * rng.normal(size=k) + errors * rng.normal(size=k)
    used = ~np.eye(k, dtype=bool)
    found = means_of_subsets(values, errors, used)
    for at in range(k):
        alone = paule_mandel(values[used[at]], errors[used[at]])
        assert found.estimates[at] == pytest.approx(alone.estimate, rel=1e-8, abs=1e-10)
        assert found.standard_errors[at] == pytest.approx(alone.standard_error, rel=1e-8)
        assert found.p[at] == pytest.approx(alone.p, rel=1e-7)
        assert found.groups[at] == k - 1


# statsmodels combine_effects, "iterated" is Paule-Mandel; its Hartung-Knapp scale held to 1.
def test_all_groups_agree_with_statsmodels():
    rng = np.random.default_rng(4)
    errors = rng.uniform(0.5, 2, 9)
    values = 2 + 1.5 * rng.normal(size=9)
    found = means_of_subsets(values, errors, np.ones((1, 9), dtype=bool))
    other = combine_effects(values, errors**2, method_re="iterated", use_t=True, atol=1e-7)
    scale = max(1, other.scale_hksj_re)
    assert found.estimates[0] == pytest.approx(other.mean_effect_re, rel=1e-5)
    assert found.standard_errors[0] == pytest.approx(
        np.sqrt(scale / other.weights_re.sum()), rel=1e-4
    )


def test_what_is_left_out_changes_nothing():
    rng = np.random.default_rng(5)
    values, errors = rng.normal(size=7), rng.uniform(0.5, 2, 7)
    used = np.ones((1, 7), dtype=bool)
    used[0, 3] = False
    before = means_of_subsets(values, errors, used)
    values[3], errors[3] = 1e6, 1e-6
    after = means_of_subsets(values, errors, used)
    assert after.estimates == pytest.approx(before.estimates, rel=1e-12)
    assert after.standard_errors == pytest.approx(before.standard_errors, rel=1e-12)


def test_fewer_than_two_groups_have_no_mean():
    used = np.array([[True, True, False], [True, False, True], [False, False, False]])
    found = means_of_subsets([1.0, np.nan, 3.0], [1.0, 1.0, 2.0], used)
    assert found.groups.tolist() == [1, 2, 0]
    assert np.isfinite(found.estimates).tolist() == [False, True, False]
    assert np.isfinite(found.p).tolist() == [False, True, False]
