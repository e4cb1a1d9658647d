from itertools import combinations, permutations
from math import log, pi, sqrt
from pathlib import Path

import numpy as np
import oracle
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.stats import multivariate_normal, norm, rankdata, ttest_ind

REFERENCE = Path(__file__).parents[2] / "datasets" / "reference"
SIX_DAYS = pd.read_csv(REFERENCE / "c_westfall_young_small.csv")
FACTORS = ["f1", "f2", "f3"]
INDEPENDENT = [(0.0, 0.0)]


def _answers(stat):
    rows = pd.read_csv(REFERENCE / "c_association_measures_expected.csv")
    rows = rows[(rows["id"] == "C-WY") & (rows["stat"] == stat)].sort_values("inputs")
    return rows["value"].astype(float).to_numpy()


def _record(seed, n=24, lost=5, m=4, times=None):
    """Two outcomes with different unknown units, weekend and drift as nuisance, unknown items."""
    rng = np.random.default_rng(seed)
    times = np.cumsum(rng.integers(1, 3, n)) if times is None else times
    X = np.column_stack([np.ones(n), times % 7 >= 5, (times - times.mean()) / times.std()])
    rules = (rng.random((n, m)) < 0.4).astype(float)
    rules[rng.random((n, m)) < 0.1] = np.nan
    outcomes = []
    for _ in range(2):
        known = np.sort(rng.choice(n, n - lost, replace=False))
        y = rng.normal(100, 8, n) + 6 * X[:, 1]
        outcomes.append(
            {
                "y": y[known],
                "times": times[known],
                "X": X[known].astype(float),
                "rules": rules[known],
                "known": known,
            }
        )
    return outcomes


# C-WY: six days, three bad; the statistic is the difference in means, all 20 relabellings.
# Exact fractions by enumeration; method of Westfall and Young 1993.
def test_westfall_young_six_days():
    values, bad = SIX_DAYS[FACTORS].to_numpy(float), SIX_DAYS["bad"].to_numpy(bool)

    def differences(days):
        chosen = np.isin(np.arange(6), days)
        return np.abs(values[chosen].mean(axis=0) - values[~chosen].mean(axis=0))

    observed = differences(np.flatnonzero(bad))
    permuted = np.array([differences(days) for days in combinations(range(6), 3)])
    assert permuted.shape == (20, 3)
    np.testing.assert_allclose(observed, _answers("obs_abs_mean_diff"), atol=1e-9)
    single, stepped = oracle.step_down(observed, permuted, complete=True)
    np.testing.assert_allclose(single, [1 / 10, 3 / 10, 1], atol=1e-12)
    np.testing.assert_allclose(stepped, [1 / 10, 1 / 5, 1], atol=1e-12)
    np.testing.assert_allclose(single, _answers("maxT_single_step"), atol=1e-12)
    np.testing.assert_allclose(stepped, _answers("maxT_step_down"), atol=1e-12)


# The same days through the whole test: bad or not as the outcome, the factors as columns, only an
# intercept beside them. Each |t| grows with its |difference|, so the raw p-values of C-WY hold.
def test_westfall_young_six_days_one_factor_at_a_time():
    orders = np.array(list(permutations(range(6))))
    raw = []
    for factor in FACTORS:
        outcome = {
            "y": SIX_DAYS["bad"].to_numpy(float),
            "times": np.arange(6),
            "known": range(6),
            "X": np.ones((6, 1)),
            "rules": SIX_DAYS[[factor]].to_numpy(float),
        }
        found = oracle.maxt([outcome], orders, INDEPENDENT, scores=False, complete=True)
        raw.append(found["p_single"][0])
    np.testing.assert_allclose(raw, _answers("raw_p"), atol=1e-12)


# All three together: without nuisance the largest |t| is the largest |r|, counted here by numpy
# over the same relabellings. (Not the answers above: there the differences are not standardised.)
def test_westfall_young_six_days_standardised():
    bad, values = SIX_DAYS["bad"].to_numpy(float), SIX_DAYS[FACTORS].to_numpy(float)
    orders = np.array(list(permutations(range(6))))
    outcome = {
        "y": bad,
        "times": np.arange(6),
        "X": np.ones((6, 1)),
        "rules": values,
        "known": range(6),
    }
    found = oracle.maxt([outcome], orders, INDEPENDENT, scores=False, complete=True)

    def correlations(y):
        return np.abs([np.corrcoef(y, column)[0, 1] for column in values.T])

    seen, every = correlations(bad), np.array([correlations(bad[order]) for order in orders])
    single = [(every.max(axis=1) >= r - 1e-9).mean() for r in seen]
    np.testing.assert_allclose(found["p_single"], single, atol=1e-12)
    second = (every[:, 1:].max(axis=1) >= seen[1] - 1e-9).mean()
    last = (every[:, 2] >= seen[2] - 1e-9).mean()
    assert seen[0] > seen[1] > seen[2]
    np.testing.assert_allclose(found["p_stepdown"], [single[0], second, last], atol=1e-12)


# Two groups and no nuisance: t and the standard error are those of Student's t test (scipy).
def test_two_groups_are_students_t_test():
    rng = np.random.default_rng(4)
    y, rule = rng.normal(size=20), np.repeat([1.0, 0.0], [8, 12])
    outcome = {
        "y": y,
        "times": np.arange(20),
        "X": np.ones((20, 1)),
        "rules": rule[:, None],
        "known": np.arange(20),
    }
    found = oracle.maxt([outcome], np.arange(20)[None], INDEPENDENT, scores=False)
    answer = ttest_ind(y[:8], y[8:])
    assert found["t"][0] == pytest.approx(answer.statistic, rel=1e-10)
    assert found["df"][0] == 18
    assert 2 * norm.sf(abs(found["z"][0])) == pytest.approx(answer.pvalue, rel=1e-9)
    limits = oracle.interval(y, np.ones((20, 1)), rule, np.eye(20), norm.ppf(0.975))
    assert limits[0] == pytest.approx(y[:8].mean() - y[8:].mean())
    assert limits[2:] == pytest.approx(tuple(answer.confidence_interval(0.95)), rel=1e-9)


# statsmodels' generalised least squares with the same covariance.
@pytest.mark.parametrize("seed", range(4))
def test_whitened_regression_is_generalised_least_squares(seed):
    outcome = _record(seed)[0]
    C = oracle.correlation(outcome["times"], 0.6, 0.7)
    for rule in outcome["rules"].T:
        wide = np.column_stack([outcome["X"], oracle.centred(rule)])
        answer = sm.GLS(outcome["y"], wide, sigma=C).fit()
        found = oracle.interval(outcome["y"], outcome["X"], rule, C, norm.ppf(0.975))
        assert found[:2] == pytest.approx((answer.params[-1], answer.bse[-1]), rel=1e-8)
        assert found[2:] == pytest.approx(tuple(answer.conf_int()[-1]), rel=1e-8)


# scipy's ranks.
def test_normal_scores():
    y = np.array([3.0, 1.0, 4.0, 1.0, 5.0, 9.0, 2.0, 6.0, 5.0, 3.0, 5.0])
    answer = norm.ppf((rankdata(y) - 0.375) / (y.size + 0.25))
    np.testing.assert_allclose(oracle.normal_scores(y), answer, rtol=1e-12)


# The likelihood of n - p contrasts that do not see the nuisance (Harville 1974): the same up to
# 1/2 log|X'X|, which does not depend on C.
@pytest.mark.parametrize("w_phi", [(0.0, 0.0), (0.5, 0.3), (0.9, 0.8)])
def test_restricted_likelihood_is_that_of_contrasts(w_phi):
    outcome = _record(7)[0]
    y, X, n = outcome["y"], outcome["X"], len(outcome["y"])
    p = X.shape[1]
    C = oracle.correlation(outcome["times"], w_phi[1], w_phi[0])
    K = np.linalg.qr(X, mode="complete")[0][:, p:]
    V = K.T @ C @ K
    s2 = (K.T @ y) @ np.linalg.solve(V, K.T @ y) / (n - p)
    answer = multivariate_normal.logpdf(K.T @ y, cov=s2 * V)
    answer -= 0.5 * np.linalg.slogdet(X.T @ X)[1]
    assert oracle.reml_loglik(y, X, C) == pytest.approx(answer, rel=1e-10)


# With independent units and an intercept it is the textbook form with the n - 1 variance.
def test_restricted_likelihood_of_a_mean():
    y = np.array([1.0, 4.0, 2.0, 8.0])
    answer = -0.5 * (3 * (log(2 * pi * y.var(ddof=1)) + 1) + log(4))
    assert oracle.reml_loglik(y, np.ones((4, 1)), np.eye(4)) == pytest.approx(answer)


def test_correlation_of_days_with_a_gap_and_of_meals_of_one_day():
    np.testing.assert_allclose(
        oracle.correlation([0, 1, 4], 0.5, 0.8), [[1, 0.4, 0.05], [0.4, 1, 0.1], [0.05, 0.1, 1]]
    )
    np.testing.assert_allclose(
        oracle.correlation([3, 3, 4], 0.0, 0.8), [[1, 0.8, 0], [0.8, 1, 0], [0, 0, 1]]
    )


def test_dependence_is_found_again():
    grid = [(w, phi) for w in (0.0, 0.5, 0.9) for phi in (0.2, 0.8)]
    times, X = np.arange(150), np.ones((150, 1))
    root = np.linalg.cholesky(oracle.correlation(times, 0.8, 0.9))
    y = root @ np.random.default_rng(2).normal(size=150)
    found = oracle.fit(y, X, times, grid)
    assert (found["w"], found["phi"]) == (0.9, 0.8)
    white = oracle.whiten(root, oracle.correlation(times, 0.8, 0.9))
    np.testing.assert_allclose(white @ white.T, np.eye(150), atol=1e-10)


def test_the_induced_order():
    assert oracle.induced([3, 1, 0, 2], [0, 2, 3]) == [2, 0, 1]
    every = [tuple(oracle.induced(order, [0, 2, 3])) for order in permutations(range(4))]
    assert {order: every.count(order) for order in every} == dict.fromkeys(
        permutations(range(3)), 4
    )


def test_the_order_as_it_was_gives_the_statistic_as_it_was():
    outcomes = _record(3)
    found = oracle.maxt(outcomes, np.arange(24)[None], [(0.4, 0.5)])
    assert found["permuted"].max() == pytest.approx(np.abs(found["z"]).max(), rel=1e-9)
    np.testing.assert_array_equal(found["p_single"][np.abs(found["z"]).argmax()], 1.0)


# Freedman and Lane 1983: t after shuffling is a function of the correlation of the residuals of
# the rule and of the shuffled residuals, both beside the nuisance.
def test_shuffled_t_is_that_of_correlated_residuals():
    outcome = _record(5)[1]
    order = np.random.default_rng(0).permutation(24)
    prepared = oracle.prepare(outcome, [(0.6, 0.4)])
    rest = oracle.residual(prepared["y"], prepared["X"])
    again = oracle.residual(rest[oracle.induced(order, outcome["known"])], prepared["X"])
    found = oracle.permuted_z(prepared, outcome["known"], [order])[0]
    df = len(rest) - prepared["X"].shape[1] - 1
    for value, column in zip(found, prepared["columns"], strict=True):
        left = oracle.residual(column, prepared["X"])
        r = again @ left / sqrt((again @ again) * (left @ left))
        assert value == pytest.approx(oracle.z_of_t(r * sqrt(df / (1 - r**2)), df), abs=1e-9)


def test_step_down_by_hand():
    observed = np.array([2.0, 3.0, 1.0])
    permuted = np.array([[1, 1, 2.5], [0, 3.5, 0], [2.2, 0, 0], [0.5, 0.5, 0.5]])
    single, stepped = oracle.step_down(observed, permuted)
    np.testing.assert_allclose(single, [4 / 5, 2 / 5, 4 / 5])
    np.testing.assert_allclose(stepped, [3 / 5, 2 / 5, 3 / 5])


def test_interval_and_p_value_agree_at_the_quantile():
    rng = np.random.default_rng(6)
    max_z = np.abs(rng.normal(size=(199, 5))).max(axis=1)
    q = oracle.family_quantile(max_z)
    for value, within in ((q, False), (q + 1e-6, True)):
        p = oracle.step_down(np.array([value]), max_z[:, None])[0][0]
        assert (p <= 0.05) == within
    assert oracle.family_quantile(max_z[:10]) == np.inf


def test_what_is_unknown_carries_nothing_and_what_is_nuisance_keeps_nothing():
    rule = np.array([1.0, 0.0, np.nan, 1.0, 0.0, 0.0])
    np.testing.assert_allclose(oracle.centred(rule), [0.6, -0.4, 0, 0.6, -0.4, -0.4])
    X = np.column_stack([np.ones(6), np.nan_to_num(rule, nan=0.4)])
    assert oracle.kept(rule, X) == pytest.approx(0, abs=1e-12)
    assert oracle.kept(rule, X[:, :1]) == pytest.approx(1)


# One question where nothing is true: p is at or below 0.2 in 20 of 100, as a p-value must be.
def test_p_values_are_uniform_where_nothing_is_true():
    rng = np.random.default_rng(12)
    wrong = 0
    for _ in range(200):
        X = np.column_stack([np.ones(12), np.arange(12) % 7 >= 5]).astype(float)
        outcome = {
            "y": rng.normal(size=12),
            "times": np.arange(12),
            "known": np.arange(12),
            "X": X,
            "rules": rng.permuted(np.repeat([1.0, 0.0], [5, 7]))[:, None],
        }
        orders = np.array([rng.permutation(12) for _ in range(39)])
        wrong += oracle.maxt([outcome], orders, INDEPENDENT)["p_single"][0] <= 0.2
    assert abs(wrong / 200 - 0.2) < 3 * sqrt(0.2 * 0.8 / 200)
