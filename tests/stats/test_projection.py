import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from miner.stats.effects import independent, orthonormal, residual, share_kept

# Small whole numbers: columns that are equal, empty or sums of others come up often.
nuisance = st.integers(0, 5).flatmap(
    lambda p: arrays(float, (9, p), elements=st.integers(-2, 2).map(float))
)
others = arrays(float, (9, 3), elements=st.integers(-3, 3).map(float))
steady = settings(derandomize=True, deadline=None, max_examples=80)


# A projection is idempotent, symmetric, keeps what it projects on; its rank is numpy's.
@steady
@given(nuisance)
def test_orthonormal_spans_the_columns_and_no_more(X):
    Q = orthonormal(X)
    assert Q.shape == (9, np.linalg.matrix_rank(X) if X.shape[1] else 0)
    np.testing.assert_allclose(Q.T @ Q, np.eye(Q.shape[1]), atol=1e-10)
    np.testing.assert_allclose(Q @ (Q.T @ X), X, atol=1e-9)


@steady
@given(nuisance, others)
def test_residual_is_what_least_squares_leaves(X, y):
    Q = orthonormal(X)
    left = residual(Q, y)
    answer = y - X @ np.linalg.lstsq(X, y, rcond=None)[0] if X.shape[1] else y
    np.testing.assert_allclose(left, answer, atol=1e-9)
    np.testing.assert_allclose(residual(Q, left), left, atol=1e-9)
    np.testing.assert_allclose(Q.T @ left, 0, atol=1e-9)


@steady
@given(nuisance)
def test_independent_columns_are_the_first_that_span(X):
    kept = X[:, independent(X)]
    rank = np.linalg.matrix_rank(X) if X.shape[1] else 0
    assert kept.shape == (9, rank)
    greedy = []
    for column in X.T:
        wider = np.column_stack([*greedy, column])
        if np.linalg.matrix_rank(wider) == len(greedy) + 1:
            greedy.append(column)
    np.testing.assert_array_equal(kept, np.column_stack(greedy) if greedy else X[:, :0])


# A column of other size counts as much: minutes beside yes/no.
def test_the_size_of_a_column_does_not_matter():
    rng = np.random.default_rng(0)
    X = rng.normal(size=(12, 3))
    scaled = X * [1e-9, 1.0, 1e9]
    assert orthonormal(scaled).shape == scaled[:, independent(scaled)].shape == (12, 3)
    y = rng.normal(size=(12, 2))
    np.testing.assert_allclose(
        residual(orthonormal(scaled), y), residual(orthonormal(X), y), atol=1e-8
    )


# The share kept is 1 - R^2 of the column on the nuisance (statsmodels' least squares).
def test_share_kept_is_one_less_r_squared():
    rng = np.random.default_rng(1)
    X = np.column_stack([np.ones(30), rng.normal(size=(30, 2))])
    y = rng.normal(size=(30, 4)) + X[:, [1]]
    found = share_kept(orthonormal(X), orthonormal(X[:, :1]), y)
    answer = [1 - sm.OLS(column, X).fit().rsquared for column in y.T]
    np.testing.assert_allclose(found, answer, rtol=1e-10)


def test_share_kept_of_what_does_not_vary_or_is_nuisance_itself():
    X = np.column_stack([np.ones(8), np.arange(8) % 2])
    columns = np.column_stack([np.ones(8), X[:, 1], np.zeros(8), np.arange(8) < 4])
    found = share_kept(orthonormal(X), orthonormal(X[:, :1]), columns)
    assert np.isnan(found[0])
    assert np.isnan(found[2])
    assert found[[1, 3]] == pytest.approx([0.0, 1.0], abs=1e-12)


def test_nothing_is_changed_in_place():
    X = np.arange(12.0).reshape(4, 3)
    before = X.copy()
    residual(orthonormal(X), X)
    independent(X)
    orthonormal(X[:, :0])[:] = 0
    np.testing.assert_array_equal(X, before)
