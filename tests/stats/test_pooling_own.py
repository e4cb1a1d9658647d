"""Slopes at several dependences against whole covariance matrices, and what leaving out does."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats as st
from statsmodels.regression.linear_model import GLS

from miner import resources
from miner.stats.pooling_own import PHIS, at_common_phi, slopes_by_phi
from miner.stats.pooling_subsets import means_of_subsets


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


# statsmodels GLS takes the whole covariance matrix.
def test_slopes_are_those_of_generalised_least_squares():
    y, x, g, nuisance, t = made(3, 1)
    found = slopes_by_phi(y, x, g, nuisance, t)
    for at, phi in enumerate(PHIS):
        for group in range(3):
            own = g == group
            R = phi ** np.abs(np.subtract.outer(t[own], t[own])) if phi else np.eye(own.sum())
            fit = GLS(y[own], np.column_stack([np.ones(own.sum()), x[own]]), sigma=R).fit()
            assert found.slopes[at, group] == pytest.approx(fit.params[1], rel=1e-8)
            assert found.errors[at, group] == pytest.approx(fit.bse[1], rel=1e-8)


# The restricted likelihood written out with whole matrices (Patterson & Thompson 1971), with the
# residual variance at its best; what does not depend on phi is left out.
def test_likelihoods_are_those_of_whole_matrices_up_to_a_constant():
    y, x, g, nuisance, t = made(2, 2)
    found = slopes_by_phi(y, x, g, nuisance, t)
    for group in range(2):
        own = g == group
        X = np.column_stack([np.ones(own.sum()), x[own], nuisance[own][:, :2]])
        whole = []
        for phi in PHIS:
            V = phi ** np.abs(np.subtract.outer(t[own], t[own])) if phi else np.eye(own.sum())
            inverse = np.linalg.inv(V)
            A = X.T @ inverse @ X
            b = np.linalg.solve(A, X.T @ inverse @ y[own])
            left = y[own] - X @ b
            whole.append(
                -0.5
                * (
                    (own.sum() - 4) * np.log(left @ inverse @ left)
                    + np.linalg.slogdet(V)[1]
                    + np.linalg.slogdet(A)[1]
                )
            )
        own_difference = found.likelihoods[:, group] - found.likelihoods[0, group]
        np.testing.assert_allclose(own_difference, np.array(whole) - whole[0], rtol=1e-7)


def test_the_dependence_of_many_groups_is_found():
    y, x, g, nuisance, t = made(60, 3, phi=0.5)
    found = slopes_by_phi(y, x, g, nuisance, t)
    slopes, errors = at_common_phi(found, np.ones((1, 60), dtype=bool))
    # between the slopes at 0.4 and at 0.6, as 0.5 was planted
    share = (slopes[0] - found.slopes[2]) / (found.slopes[3] - found.slopes[2])
    assert np.ptp(share) < 1e-6
    assert share[0] == pytest.approx(0.5, abs=0.3)
    assert means_of_subsets(slopes, errors, np.ones((1, 60), dtype=bool)).estimates[
        0
    ] == pytest.approx(2.0, abs=0.1)


def test_the_dependence_may_lie_at_either_end():
    for phi, expected in ((0.0, 0), (0.95, -1)):
        y, x, g, nuisance, t = made(40, 4, phi=phi)
        found = slopes_by_phi(y, x, g, nuisance, t)
        slopes = at_common_phi(found, np.ones((1, 40), dtype=bool))[0]
        near = np.abs(found.slopes - slopes[0]).max(axis=1).argmin()
        assert near == np.arange(PHIS.size)[expected]


def test_one_left_out_has_no_weight_in_the_rest():
    y, x, g, nuisance, t = made(8, 5)
    used = np.ones((1, 8), dtype=bool)
    used[0, 3] = False

    def rest(values, column):
        found = slopes_by_phi(values, column, g, nuisance, t)
        mean = means_of_subsets(*at_common_phi(found, used), used)
        return np.array([mean.estimates[0], mean.standard_errors[0]])

    other = np.where(g == 3, 100 * np.sin(t) + x, y), np.where(g == 3, t % 5, x)
    np.testing.assert_allclose(rest(*other), rest(y, x), rtol=1e-9)


def test_a_group_with_too_few_units_or_a_column_that_never_differs_has_no_slope():
    y, x, g, nuisance, t = made(4, 6)
    few = (g != 0) | (t < 3)
    y, x, g, nuisance, t = y[few], x[few], g[few], nuisance[few], t[few]
    x = np.where(g == 1, 1.0, x)
    found = slopes_by_phi(y, x, g, nuisance, t)
    assert np.isnan(found.slopes).tolist() == [[True, True, False, False]] * PHIS.size
    assert (found.likelihoods[:, 0] == 0).all()
    assert np.isfinite(found.errors[:, 2:]).all()


def test_units_in_any_order_give_the_same():
    y, x, g, nuisance, t = made(4, 7)
    mixed = np.random.default_rng(1).permutation(y.size)
    before = slopes_by_phi(y, x, g, nuisance, t)
    after = slopes_by_phi(y[mixed], x[mixed], g[mixed], nuisance[mixed], t[mixed])
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
    found = slopes_by_phi(frame["Reaction"], days, frame["Subject"], np.empty((days.size, 0)), days)
    slopes = found.slopes[0]
    assert slopes.mean() == pytest.approx(of["REML", "estimate"], rel=1e-7)
    assert slopes.std(ddof=1) / np.sqrt(18) == pytest.approx(of["REML", "se"], rel=1e-6)
