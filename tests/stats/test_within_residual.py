"""What is left of a column in each group, against least squares group by group."""

from __future__ import annotations

import numpy as np
import pytest

from miner.stats.mixed_design import Panel
from miner.stats.pooling import slopes_by_group, within_residual


def made(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    groups = rng.integers(0, 7, 150)
    nuisance = np.column_stack([rng.random(150) < 0.3, rng.normal(size=150), groups == 3])
    nuisance[groups == 5, 1] = 2.0  # does not vary there
    x = (rng.random(150) < 0.4).astype(float) + nuisance[:, 1]
    return x, groups, nuisance.astype(float)


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_against_least_squares_in_each_group(seed: int) -> None:
    x, groups, nuisance = made(seed)
    left, share = within_residual(x, groups, nuisance)
    for g in np.unique(groups):
        own = groups == g
        X = np.column_stack([np.ones(own.sum()), nuisance[own]])
        expected = x[own] - X @ np.linalg.lstsq(X, x[own], rcond=None)[0]
        np.testing.assert_allclose(left[own], expected, atol=1e-10)
        before = ((x[own] - x[own].mean()) ** 2).sum()
        np.testing.assert_allclose(share[own], (expected**2).sum() / before, atol=1e-10)


def test_a_regression_on_it_has_the_slope_beside_the_nuisance() -> None:
    # Frisch & Waugh 1933, Econometrica 1:387-401: the two regressions have the same coefficient
    x, groups, nuisance = made(3)
    y = np.random.default_rng(4).normal(size=x.size) + 2 * x
    left, _ = within_residual(x, groups, nuisance)
    beside = slopes_by_group(y, x, Panel(groups), nuisance=nuisance).slopes
    alone = [y[groups == g] @ left[groups == g] / (left[groups == g] ** 2).sum()
             for g in np.unique(groups)]  # fmt: skip
    np.testing.assert_allclose(beside, alone, rtol=1e-9)


def test_without_nuisance_only_the_mean_is_taken_out() -> None:
    left, share = within_residual([1.0, 3.0, 5.0, 5.0], ["a", "a", "b", "b"])
    np.testing.assert_allclose(left, [-1, 1, 0, 0])
    np.testing.assert_array_equal(share, [1, 1, np.nan, np.nan])


def test_what_cannot_be_used_is_refused() -> None:
    with pytest.raises(ValueError, match="lengths"):
        within_residual([1.0, 2.0], [0, 0, 1])
    with pytest.raises(ValueError, match="unknown"):
        within_residual([1.0, np.nan], [0, 0])
