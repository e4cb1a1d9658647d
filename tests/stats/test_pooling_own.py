"""Slopes at several dependences against whole covariance matrices, and what leaving out does."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats as st
from statsmodels.regression.linear_model import GLS

from miner.core import resources
from miner.stats.pooling_own import (
    DEPENDENCES,
    SlopesOnGrid,
    at_common_dependence,
    means_of_subsets,
    slopes_on_grid,
)


def made(groups, seed, phi=0.5, days=30):
    rng = np.random.default_rng(seed)
    g, t = np.repeat(np.arange(groups), days), np.tile(np.arange(float(days)), groups)
    e = rng.normal(size=(groups, days))
    for day in range(1, days):
        e[:, day] = phi * e[:, day - 1] + np.sqrt(1 - phi**2) * e[:, day]
    x = rng.normal(size=g.size)
    nuisance = np.column_stack([t % 7 >= 5, t, np.zeros(g.size)]) * 1.0
    kept = rng.random(g.size) < 0.9
    values = 2 * x + e.ravel() + 5 * rng.normal(size=groups)[g] + 0.1 * t
    return values[kept], x[kept], g[kept], nuisance[kept], t[kept]


def correlation(t, share, phi):
    gap = np.abs(np.subtract.outer(np.floor(t), np.floor(t)))
    of_day = np.where(gap == 0, 1.0, phi**gap)
    return share * of_day + (1 - share) * np.eye(t.size)


# statsmodels GLS takes the whole covariance matrix; three units a day share theirs.
@pytest.mark.parametrize("a_day", [1, 3])
def test_slopes_are_those_of_generalised_least_squares(a_day):
    y, x, g, nuisance, t = made(3, 1)
    t = np.floor(t / a_day) + 0.2 * (t % a_day)
    found = slopes_on_grid(y, x, g, nuisance, t)
    for at, (share, phi) in enumerate(DEPENDENCES):
        for group in range(3):
            own = g == group
            R = correlation(t[own], share, phi)
            fit = GLS(y[own], np.column_stack([np.ones(own.sum()), x[own]]), sigma=R).fit()
            assert found.slopes[at, group] == pytest.approx(fit.params[1], rel=1e-8)
            assert found.errors[at, group] == pytest.approx(fit.bse[1], rel=1e-8)


# The restricted likelihood written out with whole matrices (Patterson & Thompson 1971), with the
# residual variance at its best; what does not depend on the dependence is left out.
@pytest.mark.parametrize("a_day", [1, 3])
def test_likelihoods_are_those_of_whole_matrices_up_to_a_constant(a_day):
    y, x, g, nuisance, t = made(2, 2)
    t = np.floor(t / a_day) + 0.2 * (t % a_day)
    found = slopes_on_grid(y, x, g, nuisance, t)
    for group in range(2):
        own = g == group
        X = np.column_stack([np.ones(own.sum()), x[own], nuisance[own][:, :2]])
        whole = []
        for share, phi in DEPENDENCES:
            V = correlation(t[own], share, phi)
            inverse = np.linalg.inv(V)
            A = X.T @ inverse @ X
            b = np.linalg.solve(A, X.T @ inverse @ y[own])
            left = y[own] - X @ b
            parts = (own.sum() - 4) * np.log(left @ inverse @ left)
            whole.append(-0.5 * (parts + np.linalg.slogdet(V)[1] + np.linalg.slogdet(A)[1]))
        difference = found.likelihoods[:, group] - found.likelihoods[0, group]
        np.testing.assert_allclose(difference, np.array(whole) - whole[0], rtol=1e-4, atol=1e-5)


def test_the_dependence_of_many_groups_is_found():
    y, x, g, nuisance, t = made(60, 3, phi=0.85)
    found = slopes_on_grid(y, x, g, nuisance, t)
    assert DEPENDENCES[found.likelihoods.sum(axis=1).argmax()].tolist() == [0.95, 0.85]
    slopes, errors = at_common_dependence(found, np.ones((1, 60), dtype=bool))
    mean = means_of_subsets(slopes, errors, np.ones((1, 60), dtype=bool))
    assert mean.estimates[0] == pytest.approx(2.0, abs=0.05)


def test_slopes_are_averaged_over_dependences_by_their_likelihood():
    likelihoods = np.full((len(DEPENDENCES), 2), -500.0)
    likelihoods[3], likelihoods[5] = (np.log(0.5), np.log(0.5)), (np.log(1.5), np.log(0.5))
    slopes = np.tile(np.arange(float(len(DEPENDENCES)))[:, None], (1, 2))
    found = SlopesOnGrid(slopes, slopes, likelihoods)
    # 0.5 x 0.5 against 1.5 x 0.5: a quarter and three quarters; without the first group even
    both = at_common_dependence(found, np.array([[True, True], [False, True]]))[0]
    assert both[:, 0] == pytest.approx([0.25 * 3 + 0.75 * 5, 4.0])


def test_one_left_out_has_no_weight_in_the_rest():
    y, x, g, nuisance, t = made(8, 5)
    used = np.ones((1, 8), dtype=bool)
    used[0, 3] = False

    def rest(values, column):
        found = slopes_on_grid(values, column, g, nuisance, t)
        mean = means_of_subsets(*at_common_dependence(found, used), used)
        return np.array([mean.estimates[0], mean.standard_errors[0]])

    other = np.where(g == 3, 100 * np.sin(t) + x, y), np.where(g == 3, t % 5, x)
    np.testing.assert_allclose(rest(*other), rest(y, x), rtol=1e-9)


def test_a_group_with_too_few_units_or_a_column_that_never_differs_has_no_slope():
    y, x, g, nuisance, t = made(4, 6)
    few = (g != 0) | (t < 3)
    y, x, g, nuisance, t = y[few], x[few], g[few], nuisance[few], t[few]
    x = np.where(g == 1, 1.0, x)
    found = slopes_on_grid(y, x, g, nuisance, t)
    assert np.isnan(found.slopes).tolist() == [[True, True, False, False]] * len(DEPENDENCES)
    assert (found.likelihoods[:, 0] == 0).all()
    assert np.isfinite(found.errors[:, 2:]).all()


def test_units_in_any_order_give_the_same():
    y, x, g, nuisance, t = made(4, 7)
    mixed = np.random.default_rng(1).permutation(y.size)
    before = slopes_on_grid(y, x, g, nuisance, t)
    after = slopes_on_grid(y[mixed], x[mixed], g[mixed], nuisance[mixed], t[mixed])
    np.testing.assert_allclose(after.slopes, before.slopes, rtol=1e-10)
    line = st.linregress(x[g == 2], y[g == 2])
    assert after.slopes[0, 2] == pytest.approx(line.slope)


# The sleep study (Belenky et al. 2003), 18 people, ten days each, reaction on the dose of days: as
# all have the same days, the mean of their slopes and its standard error are those of the mixed
# model with random intercept and slope, fitted by lme4 (datasets/reference/d_mixed_expected.csv).
def test_slopes_of_the_sleep_study_have_the_mean_of_the_mixed_model():
    here = resources.folder("datasets") / "reference"
    frame = pd.read_csv(here / "d_sleepstudy.csv")
    expected = pd.read_csv(here / "d_mixed_expected.csv")
    rows = expected[
        (expected["model"] == "sleepstudy: Reaction~Days+(Days|Subject)")
        & (expected["term"] == "Days")
    ]
    of = {(row["method"], row["stat"]): row["value"] for _, row in rows.iterrows()}
    days = frame["Days"].to_numpy(float)
    found = slopes_on_grid(
        frame["Reaction"], days, frame["Subject"], np.empty((days.size, 0)), days
    )
    slopes = found.slopes[0]
    assert slopes.mean() == pytest.approx(of["REML", "estimate"], rel=1e-7)
    assert slopes.std(ddof=1) / np.sqrt(18) == pytest.approx(of["REML", "se"], rel=1e-6)
