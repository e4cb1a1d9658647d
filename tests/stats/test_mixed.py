import warnings
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal

from miner.stats import mixed
from miner.stats.mixed import fit_mixed
from miner.stats.mixed_design import Panel, cross_products, design
from miner.stats.mixed_likelihood import evaluate
from miner.stats.mixed_optimise import GROUPS_TO_BRACKET, Likelihood, Profile, minimise, polish

RANDOM = ["intercept", "slope", "uncorrelated", "both"]


def invented(seed, groups=12, most=14, phi=0.0, spread=(4.0, 2.0), gaps=False, within=3.0):
    rng = np.random.default_rng(seed)
    sizes = rng.integers(3, most + 1, groups)
    g = np.repeat(np.arange(groups), sizes)
    steps = rng.integers(1, 4, g.size) if gaps else np.ones(g.size)
    t = np.cumsum(steps).astype(float)
    x = (rng.random(g.size) < 0.4).astype(float)
    e = np.empty(g.size)
    for i in range(g.size):
        first = i == 0 or g[i] != g[i - 1]
        rho = 0.0 if first else phi ** (t[i] - t[i - 1])
        e[i] = (0 if first else rho * e[i - 1]) + np.sqrt(1 - rho**2) * rng.normal()
    own = rng.normal(size=(groups, 2)) * spread
    y = 100 + own[g, 0] + (3 + own[g, 1]) * x + within * e
    return y, np.column_stack([np.ones(g.size), x]), g, x, t


def dense(y, X, g, x, t, G, s2, phi):
    Z = np.column_stack([np.ones(y.size), x])
    same = g[:, None] == g[None, :]
    R = np.where(same, phi ** np.abs(t[:, None] - t[None, :]), 0.0) if phi else np.eye(y.size)
    return np.where(same, Z @ G @ Z.T, 0.0) + s2 * R


def log_likelihood(y, X, V, reml):
    inverse = np.linalg.inv(V)
    information = X.T @ inverse @ X
    b = np.linalg.solve(information, X.T @ inverse @ y)
    value = multivariate_normal(X @ b, V).logpdf(y)
    if reml:
        p = X.shape[1]
        value += p / 2 * np.log(2 * np.pi) - np.linalg.slogdet(information)[1] / 2
    return value, b, np.linalg.inv(information)


# The likelihood of the whole covariance matrix written out, with no algebra of groups.
@settings(max_examples=12, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 10_000),
    random=st.sampled_from(RANDOM),
    reml=st.booleans(),
    dependent=st.booleans(),
)
def test_agrees_with_the_whole_covariance_matrix_and_is_its_maximum(seed, random, reml, dependent):
    y, X, g, x, t = invented(seed, phi=0.5 * dependent, gaps=True)
    times = t if dependent else None
    fit = fit_mixed(y, X, Panel(g, times), x, random=random, reml=reml)
    G, s2, phi = fit.random_covariance, fit.residual_variance, fit.phi
    best, b, covariance = log_likelihood(y, X, dense(y, X, g, x, t, G, s2, phi), reml)
    assert fit.converged
    assert fit.log_likelihood == pytest.approx(best, abs=1e-6)
    assert fit.coefficients == pytest.approx(b, rel=1e-7)
    assert fit.covariance == pytest.approx(covariance, rel=1e-6)
    rng = np.random.default_rng(seed)
    root = np.linalg.cholesky(G + 1e-12 * np.eye(2))
    free = {"intercept": [1, 0, 0], "slope": [0, 0, 1], "uncorrelated": [1, 0, 1]}
    for size in (0.02, 0.2, 0.6):
        for _ in range(4):
            move = rng.normal(size=3) * size * free.get(random, [1, 1, 1]) * np.sqrt(s2)
            L = root + np.array([[move[0], 0], [move[1], move[2]]])
            other = np.clip(phi + 0.3 * size * rng.normal(), 0, 0.99) if dependent else 0.0
            V = dense(y, X, g, x, t, L @ L.T, s2 * np.exp(size * rng.normal()), other)
            assert log_likelihood(y, X, V, reml)[0] <= best + 1e-6


# statsmodels MixedLM, method powell.
@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("random", ["intercept", "both"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_agrees_with_statsmodels(seed, random, reml):
    from statsmodels.regression.mixed_linear_model import MixedLM

    y, X, g, x, _ = invented(seed, groups=30, most=20)
    fit = fit_mixed(y, X, Panel(g), x, random=random, reml=reml)
    Z = X if random == "both" else X[:, :1]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = MixedLM(y, X, g, exog_re=Z).fit(reml=reml, method="powell", xtol=1e-10, ftol=1e-12)
    size = Z.shape[1]
    assert fit.coefficients == pytest.approx(other.fe_params, rel=1e-4)
    # its standard errors are those of a curvature that holds the variances as well
    assert fit.standard_errors == pytest.approx(other.bse_fe, rel=3e-3)
    assert fit.log_likelihood == pytest.approx(other.llf, abs=1e-4)
    assert fit.log_likelihood >= other.llf - 1e-7
    assert fit.random_covariance[:size, :size] == pytest.approx(
        np.asarray(other.cov_re), rel=5e-3, abs=5e-3
    )
    assert fit.residual_variance == pytest.approx(other.scale, rel=1e-3)


def test_truth_is_recovered_from_many_groups():
    rng = np.random.default_rng(11)
    groups, n = 600, 25
    g, t = np.repeat(np.arange(groups), n), np.tile(np.arange(n), groups)
    x = (rng.random(g.size) < 0.3).astype(float)
    own = rng.multivariate_normal([0, 0], [[16, -3], [-3, 4]], groups)
    e = rng.normal(size=(groups, n))
    for i in range(1, n):
        e[:, i] = 0.6 * e[:, i - 1] + 0.8 * e[:, i]
    y = 90 + own[g, 0] + (2 + own[g, 1]) * x + 5 * e.ravel()
    fit = fit_mixed(y, np.column_stack([np.ones(g.size), x]), Panel(g, t), x)
    assert np.abs(fit.coefficients - [90, 2]) == pytest.approx(0, abs=4 * fit.standard_errors.max())
    assert fit.phi == pytest.approx(0.6, abs=0.03)
    assert fit.residual_variance == pytest.approx(25, rel=0.1)
    assert fit.random_covariance == pytest.approx(np.array([[16, -3], [-3, 4]]), abs=2.5)


# A nominal 5 % test of the slope of all groups errs within four standard errors of 5 %.
@pytest.mark.prove
@pytest.mark.parametrize("groups", [5, 10, 20])
def test_size_of_the_satterthwaite_test(groups):
    rng, wrong, tries = np.random.default_rng(groups), 0, 200
    g = np.repeat(np.arange(groups), 20)
    for _ in range(tries):
        x = (rng.random(g.size) < 0.4).astype(float)
        own = rng.normal(size=(groups, 2)) * [5, 3]
        y = own[g, 0] + own[g, 1] * x + 5 * rng.normal(size=g.size)
        fit = fit_mixed(y, np.column_stack([np.ones(g.size), x]), Panel(g), x)
        assert fit.problem == ""
        wrong += fit.p_values()[1] <= 0.05
    assert 0.005 < wrong / tries < 0.05 + 4 * np.sqrt(0.05 * 0.95 / tries)


def same(one, two, rel=1e-9):
    assert one.coefficients == pytest.approx(two.coefficients, rel=rel)
    assert one.random_covariance == pytest.approx(two.random_covariance, rel=1e-5, abs=1e-9)
    assert one.log_likelihood == pytest.approx(two.log_likelihood, rel=1e-10)


def test_order_of_rows_and_names_of_groups_do_not_matter():
    y, X, g, x, t = invented(5, phi=0.4)
    fit = fit_mixed(y, X, Panel(g, t), x)
    order = np.random.default_rng(0).permutation(y.size)
    names = np.array([f"client-{i:02d}" for i in g])
    moved = fit_mixed(y[order], X[order], Panel(names[order], t[order]), x[order])
    same(fit, moved)
    assert moved.phi == fit.phi


def test_groups_that_rise_are_numbered_as_any_others():
    y, X, g, x, t = invented(5)
    rising = 3 * g - 7
    one, other = (design(y, X, Panel(item, t), x) for item in (rising, rising.astype(float)))
    assert not isinstance(one, str)
    assert not isinstance(other, str)
    assert one.names.tolist() == other.names.tolist() == np.unique(rising).tolist()
    assert one.starts.tolist() == np.unique(rising, return_index=True)[1].tolist()
    assert one.rows.tobytes() == other.rows.tobytes()
    assert one.gaps is not None
    assert other.gaps is not None
    assert one.gaps.tobytes() == other.gaps.tobytes()


# y -> a y + c x moves the coefficients so; a column in other units changes its coefficient only.
def test_units_of_measurement_carry_through():
    y, X, g, x, t = invented(6, phi=0.3)
    fit = fit_mixed(y, X, Panel(g, t), x)
    moved = fit_mixed(1e-3 * y + 4 * x, X * [1, 1e4], Panel(g, t), 1e4 * x)
    assert moved.coefficients == pytest.approx(
        [1e-3 * fit.coefficients[0], (1e-3 * fit.coefficients[1] + 4) / 1e4], rel=1e-6
    )
    assert moved.random_covariance[1, 1] == pytest.approx(
        1e-14 * fit.random_covariance[1, 1], rel=1e-4
    )
    assert moved.freedom == pytest.approx(fit.freedom, rel=1e-3)
    assert moved.phi == pytest.approx(fit.phi, abs=1e-5)


def test_inputs_are_left_alone():
    y, X, g, x, t = invented(7)
    before = [item.copy() for item in (y, X, g, x, t)]
    fit_mixed(y, X, Panel(g, t), x)
    assert all((old == new).all() for old, new in zip(before, (y, X, g, x, t), strict=True))


def test_no_difference_between_groups_gives_least_squares():
    y, X, g, x, _ = invented(8, groups=6)
    for group in range(6):
        mine = g == group
        y[mine] -= X[mine] @ np.linalg.lstsq(X[mine], y[mine], rcond=None)[0]
    fit = fit_mixed(y + 7, X, Panel(g), x)
    assert fit.boundary == ("intercept", "slope")
    assert not fit.random_covariance.any()
    assert fit.coefficients == pytest.approx([7, 0], abs=1e-9)
    assert fit.freedom == pytest.approx([y.size - 2] * 2, rel=1e-6)


def one_slope(seed):
    y, X, g, x, _ = invented(seed, groups=10)
    for group in range(10):
        mine = g == group
        here = X[mine] if 0 < x[mine].sum() < mine.sum() else X[mine][:, :1]
        y[mine] -= here[:, 1:] @ np.linalg.lstsq(here, y[mine], rcond=None)[0][1:]
    return y + 2 * x, X, g, x


def test_one_variance_of_two_may_be_zero():
    y, X, g, x = one_slope(8)
    fit = fit_mixed(y, X, Panel(g), x, random="uncorrelated")
    smaller = fit_mixed(y, X, Panel(g), random="intercept")
    assert fit.boundary == ("slope",)
    assert fit.random_covariance[1, 1] == 0
    assert fit.log_likelihood == pytest.approx(smaller.log_likelihood, abs=1e-6)
    assert fit.coefficients == pytest.approx(smaller.coefficients, rel=1e-6)
    assert fit.freedom == pytest.approx(smaller.freedom, rel=1e-3)
    larger = fit_mixed(y, X, Panel(g), x)
    assert larger.log_likelihood >= smaller.log_likelihood - 1e-6


# One group that lies far off and has x = 1 throughout: its distance may be read as an intercept
# or as a slope, and the likelihood has a maximum for each.
@settings(max_examples=25, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10_000), reml=st.booleans(), far=st.sampled_from([10.0, 50.0]))
def test_a_larger_model_never_fits_worse(seed, reml, far):
    y, X, g, x, _ = invented(seed, groups=8)
    x[g == 0] = X[g == 0, 1] = 1.0
    y[g == 0] -= far
    fits = {name: fit_mixed(y, X, Panel(g), x, random=name, reml=reml) for name in RANDOM}
    value = {name: fit.log_likelihood for name, fit in fits.items()}
    assert all(fit.problem == "" for fit in fits.values())
    assert value["uncorrelated"] >= max(value["intercept"], value["slope"]) - 1e-6
    assert value["both"] >= value["uncorrelated"] - 1e-6


def test_perfectly_correlated_effects_are_told():
    rng = np.random.default_rng(3)
    g = np.repeat(np.arange(30), 20)
    x = rng.random(g.size)
    own = rng.normal(size=30)
    y = 5 * own[g] + 5 * own[g] * x + rng.normal(size=g.size)
    fit = fit_mixed(y, np.column_stack([np.ones(g.size), x]), Panel(g), x)
    assert fit.converged
    G = fit.random_covariance
    correlation = G[0, 1] / np.sqrt(G[0, 0] * G[1, 1])
    assert (fit.boundary == ("correlation",)) == (correlation > 1 - 1e-9)
    assert correlation > 0.95


def test_independence_gives_phi_near_zero_and_the_model_without_it():
    y, X, g, x, t = invented(13, groups=40)
    fit = fit_mixed(y, X, Panel(g, t), x)
    without = fit_mixed(y, X, Panel(g), x)
    assert fit.phi < 0.15
    assert fit.log_likelihood >= without.log_likelihood - 1e-7
    if fit.phi == 0:
        same(fit, without)


def unusable(fit, words):
    assert words in str(fit.problem)
    assert not fit.converged
    assert np.isnan(fit.coefficients).all()
    assert np.isnan(fit.freedom).all()


def test_what_cannot_be_fitted_says_why():
    y, X, g, x, _ = invented(9)
    unusable(fit_mixed(np.where(x == 1, np.nan, y), X, Panel(g), x), "unknown or not finite")
    unusable(fit_mixed(y, X, Panel(np.where(g == 0, np.nan, g)), x), "unknown or not finite")
    unusable(fit_mixed(y, np.column_stack([X, X[:, 1]]), Panel(g), x), "cannot be separated")
    unusable(fit_mixed(y, X * [1, 0], Panel(g), x), "0 throughout")
    unusable(fit_mixed(X @ [2, 3], X, Panel(g), x), "does not vary")
    unusable(fit_mixed(y, X, Panel(np.zeros(y.size)), x), "one group")
    unusable(fit_mixed(y, X, Panel(np.arange(y.size)), x), "one unit in every group")
    unusable(fit_mixed(y[:2], X[:2], Panel(g[:2]), x[:2]), "too few")
    unusable(fit_mixed(y, X, Panel(g), 0 * x), "slope column")
    unusable(fit_mixed(y, X, Panel(g, np.zeros(y.size)), x), "same time")


def test_units_that_hardly_vary_within_groups_are_told():
    rng = np.random.default_rng(2)
    g = np.repeat(np.arange(8), 5)
    y = rng.normal(size=8)[g] * 1e3 + 1e-4 * rng.normal(size=g.size)
    fit = fit_mixed(y, np.ones((g.size, 1)), Panel(g), random="intercept")
    assert not fit.converged
    assert "do not vary enough" in str(fit.problem)


def test_dependence_that_runs_to_one_is_told():
    y = np.cumsum(np.random.default_rng(4).normal(size=40)) + np.arange(40.0)
    fit = fit_mixed(y, np.ones((40, 1)), Panel(np.zeros(40), np.arange(40)), random="none")
    assert not fit.converged
    assert "runs to 1" in str(fit.problem)


def test_groups_that_do_not_vary_within_at_all_are_told():
    g = np.repeat(np.arange(6), 4)
    y = np.array([3.0, 1.0, 4.0, 1.0, 5.0, 9.0])[g]
    fit = fit_mixed(y, np.ones((24, 1)), Panel(g), random="intercept")
    assert not fit.converged
    assert fit.problem != ""


# The few hundred groups on which the search is begun are independent, all others are not.
def test_groups_unlike_those_the_search_began_with_still_count():
    rng = np.random.default_rng(15)
    groups, n = 1200, 6
    panel = Panel(np.repeat(np.arange(groups), n), np.tile(np.arange(n), groups))
    made = design(np.arange(groups * n) % 7.0, np.ones((groups * n, 1)), panel, None)
    prepared = Profile(made, groups * n - 1, True, ())
    began = prepared.prepared.some_groups(GROUPS_TO_BRACKET).names
    assert len(began) == GROUPS_TO_BRACKET
    e = rng.normal(size=(groups, n))
    for i in range(1, n):
        e[:, i] = 0.9 * e[:, i - 1] + np.sqrt(1 - 0.81) * e[:, i]
    e[began] = rng.normal(size=(len(began), n))
    g, t = np.repeat(np.arange(groups), n), np.tile(np.arange(n), groups)
    fit = fit_mixed(e.ravel(), np.ones((g.size, 1)), Panel(g, t), random="none")
    few = np.isin(g, began)
    y, ones = e.ravel()[few], np.ones((few.sum(), 1))
    assert fit_mixed(y, ones, Panel(g[few], t[few]), random="none").phi < 0.1
    whole = Profile(
        design(e.ravel(), np.ones((g.size, 1)), Panel(g, t), None), g.size - 1, True, ()
    )
    around = [whole.at(phi) for phi in (fit.phi - 0.01, fit.phi, fit.phi + 0.01)]
    assert min(around) == around[1]
    assert fit.phi > 0.4


# A search that ends early must not pass for an answer.
@pytest.mark.parametrize(
    ("stopped", "words"),
    [
        (lambda theta: (theta * 1.5, 1.0), "did not settle"),
        (lambda theta: (theta * 0, 0.0), "not the best value"),
        (lambda theta: (theta * np.nan, 0.0), "not finite"),
    ],
)
def test_a_search_that_stops_early_is_told(monkeypatch, stopped, words):
    y, X, g, x, _ = invented(14)
    monkeypatch.setattr(mixed, "polish", lambda _, theta: stopped(theta))
    fit = fit_mixed(y, X, Panel(g), x)
    assert not fit.converged
    assert words in str(fit.problem)


def test_where_the_likelihood_is_not_defined_it_is_infinite_and_no_step_is_taken():
    y, X, g, x, _ = invented(14)
    products = cross_products(design(y, X, Panel(g), x), 0.0)
    broken = replace(products, total=np.zeros_like(products.total))
    theta = np.array([1.0, 0.0, 1.0])
    assert evaluate(broken, theta, 10, reml=True).deviance == np.inf
    ended, gain = polish(Likelihood(broken, 10, True, (0, 1, 2)), theta)
    assert (ended == theta).all()
    assert gain == np.inf


def test_a_search_that_may_not_go_on_still_ends_lower_and_says_what_is_to_be_gained():
    y, X, g, x, _ = invented(14)
    products = cross_products(design(y, X, Panel(g), x), 0.0)
    likelihood = Likelihood(products, y.size - 2, True, (0, 1, 2))
    nothing, far = np.zeros(3), np.array([4.0, 0.0, 4.0])
    best = likelihood.at(minimise(likelihood)).deviance
    once = likelihood.at(minimise(likelihood, nothing, rounds=1)).deviance
    assert best - 1e-6 <= once < likelihood.at(nothing).deviance
    ended, gain = polish(likelihood, far, steps=1)
    assert best < likelihood.at(ended).deviance < likelihood.at(far).deviance
    assert gain > 1e-6


def test_wrong_use_is_refused():
    y, X, g, x, _ = invented(10)
    with pytest.raises(ValueError, match="slope"):
        fit_mixed(y, X, Panel(g))
    with pytest.raises(ValueError, match="slope"):
        fit_mixed(y, X, Panel(g), x, random="everything")
    with pytest.raises(ValueError, match="lengths"):
        fit_mixed(y[1:], X, Panel(g), x)
    with pytest.raises(ValueError, match="lengths"):
        fit_mixed(y, X, Panel(g, x[1:]), x)


# t quantiles: Student's t of scipy, on the printed standard errors.
def test_intervals_hold_exactly_the_values_a_test_would_not_reject():
    from scipy.stats import t as student

    y, X, g, x, _ = invented(12)
    fit = fit_mixed(y, X, Panel(g), x)
    for low_high, b, se, df in zip(
        fit.intervals(0.9), fit.coefficients, fit.standard_errors, fit.freedom, strict=True
    ):
        for edge in low_high:
            assert 2 * student.sf(abs(edge - b) / se, df) == pytest.approx(0.1, rel=1e-6)
