import numpy as np
import pytest
import statsmodels.api as sm
from scipy.stats import t as student

from miner.stats import dependence as dep
from miner.stats import effects
from miner.stats.effects import orthonormal, residual


def _record(seed, n=26, m=4, meals=False):
    rng = np.random.default_rng(seed)
    times = np.sort(rng.integers(0, 9, n)) if meals else np.cumsum(rng.integers(1, 3, n))
    times = times.astype(float)
    X = np.column_stack([np.ones(n), times % 7 >= 5, times - times.mean()]).astype(float)
    rules = (rng.random((n, m)) < 0.4).astype(float)
    y = rng.normal(100, 8, n) + 4 * X[:, 1] + 5 * rules[:, 0]
    return times, X, rules, y


def _whitened(times, X, rules, y, found):
    white = dep.whiten(times, found, np.column_stack([y, rules, X]))
    basis = orthonormal(white[:, 1 + rules.shape[1] :])
    left = residual(basis, white[:, : 1 + rules.shape[1]])
    return left[:, 1:], left[:, 0], basis


CASES = [(0, False, 0.0, 0.0), (1, False, 0.6, 1.0), (2, False, 0.8, 0.6), (3, True, 0.3, 0.5)]


# statsmodels' generalised least squares with the same covariance.
@pytest.mark.parametrize(("seed", "meals", "phi", "w"), CASES)
def test_single_is_generalised_least_squares(seed, meals, phi, w):
    times, X, rules, y = _record(seed, meals=meals)
    found = dep.Dependence(phi, w)
    columns, outcome, basis = _whitened(times, X, rules, y, found)
    out = effects.single(columns, outcome, basis.shape[1])
    C = dep.correlation(times, phi, w)
    for at, rule in enumerate(rules.T):
        answer = sm.GLS(y, np.column_stack([X, rule]), sigma=C).fit()
        assert out.df == answer.df_resid == len(y) - 4
        assert out.difference[at] == pytest.approx(answer.params[-1], rel=1e-9)
        assert out.standard_error[at] == pytest.approx(answer.bse[-1], rel=1e-9)
        assert out.t[at] == pytest.approx(answer.tvalues[-1], rel=1e-9)
        assert out.p[at] == pytest.approx(answer.pvalues[-1], rel=1e-9)


# The same with two columns beside the nuisance.
@pytest.mark.parametrize(("seed", "meals", "phi", "w"), CASES)
def test_beside_is_generalised_least_squares_with_two_columns(seed, meals, phi, w):
    times, X, rules, y = _record(seed, meals=meals)
    columns, outcome, basis = _whitened(times, X, rules, y, dep.Dependence(phi, w))
    out = effects.beside(columns[:, 0], columns[:, 1:], outcome, basis.shape[1])
    C = dep.correlation(times, phi, w)
    for at in range(3):
        wide = np.column_stack([X, rules[:, 1 + at], rules[:, 0]])
        answer = sm.GLS(y, wide, sigma=C).fit()
        assert out.df == answer.df_resid
        assert out.difference[at] == pytest.approx(answer.params[-1], rel=1e-8)
        assert out.standard_error[at] == pytest.approx(answer.bse[-1], rel=1e-8)
        assert out.t[at] == pytest.approx(answer.tvalues[-1], rel=1e-8)


# A whitened unit vector beside the rule takes that unit out: the fit without its row.
@pytest.mark.parametrize(("seed", "meals", "phi", "w"), CASES)
def test_beside_a_unit_column_is_the_fit_without_that_unit(seed, meals, phi, w):
    times, X, rules, y = _record(seed, meals=meals)
    found = dep.Dependence(phi, w)
    columns, outcome, basis = _whitened(times, X, rules, y, found)
    units = residual(basis, dep.whiten(times, found, np.eye(len(y))))
    out = effects.beside(columns[:, 0], units, outcome, basis.shape[1])
    C = dep.correlation(times, phi, w)
    for at in range(len(y)):
        keep = np.arange(len(y)) != at
        wide = np.column_stack([X, rules[:, 0]])[keep]
        answer = sm.GLS(y[keep], wide, sigma=C[np.ix_(keep, keep)]).fit()
        assert out.df == answer.df_resid
        assert out.difference[at] == pytest.approx(answer.params[-1], rel=1e-7)
        assert out.standard_error[at] == pytest.approx(answer.bse[-1], rel=1e-7)


def test_beside_an_empty_column_the_rule_stands_alone():
    times, X, rules, y = _record(5)
    columns, outcome, basis = _whitened(times, X, rules, y, dep.Dependence(0.0, 0.0))
    out = effects.beside(columns[:, 0], np.zeros((len(y), 1)), outcome, basis.shape[1])
    alone = effects.single(columns[:, :1], outcome, basis.shape[1])
    assert out.difference == pytest.approx(alone.difference)


def test_beside_itself_nothing_of_a_rule_is_left():
    times, X, rules, y = _record(6)
    columns, outcome, basis = _whitened(times, X, rules, y, dep.Dependence(0.4, 0.9))
    rule = columns[:, 0]
    out = effects.beside(rule, np.column_stack([rule, -3 * rule]), outcome, basis.shape[1])
    assert np.isnan(out.difference).all()
    assert np.isnan(out.p).all()


def test_a_rule_in_which_nothing_is_left_has_no_effect():
    outcome = np.array([1.0, -1.0, 2.0, -2.0])
    out = effects.single(np.column_stack([np.zeros(4), outcome]), outcome, 0)
    assert np.isnan([out.difference[0], out.standard_error[0], out.t[0], out.p[0]]).all()
    assert (out.difference[1], out.standard_error[1], out.p[1]) == (1.0, 0.0, 0.0)
    assert out.t[1] == np.inf
    assert effects.single(-outcome[:, None], outcome, 0).t[0] == -np.inf


def test_without_degrees_of_freedom_there_is_no_effect():
    rules = np.array([[1.0], [-1.0]])
    out = effects.single(rules, np.array([1.0, 2.0]), 1)
    assert out.df == 0
    assert np.isnan([out.difference[0], out.t[0]]).all()


# scipy's t distribution; Student's table, two-sided 5 %: 2.228 on 10, 2.086 on 20 degrees.
def test_p_and_quantiles_are_students():
    t = np.array([-3.0, 0.0, 0.4, 2.228])
    np.testing.assert_allclose(effects.two_sided(t, 10), 2 * student.sf(abs(t), 10), rtol=1e-12)
    assert effects.t_quantile(0.975, 10) == pytest.approx(2.228, abs=5e-4)
    assert effects.t_quantile(0.975, 20) == pytest.approx(2.086, abs=5e-4)


# The F test of nested models: statsmodels' compare_f_test.
@pytest.mark.parametrize("seed", range(3))
def test_the_share_explained_is_the_f_test_of_nested_models(seed):
    rng = np.random.default_rng(seed)
    X, Z = np.column_stack([np.ones(30), rng.normal(size=30)]), rng.normal(size=(30, 4))
    y = rng.normal(size=30) + 0.4 * Z[:, 0]
    wide = sm.OLS(y, np.column_stack([X, Z])).fit()
    small = sm.OLS(y, X).fit()
    found = effects.explained(1 - wide.ssr / small.ssr, 4, int(wide.df_resid))
    assert found == pytest.approx(wide.compare_f_test(small)[1], rel=1e-9)


def test_nothing_explains_nothing_and_everything_is_sure():
    assert effects.explained(0.0, 0, 20) == effects.explained(0.5, 3, 0) == 1.0
    assert effects.explained(1.0, 3, 20) == 0.0


# Each rule with an outcome of its own: that of statsmodels' least squares, one pair at a time.
def test_rules_paired_with_outcomes_of_their_own():
    rng = np.random.default_rng(6)
    nuisance = np.column_stack([np.ones(30), rng.normal(size=30)])
    rules, outcomes = rng.normal(size=(2, 30, 4))
    left = [
        column - nuisance @ np.linalg.lstsq(nuisance, column, rcond=None)[0]
        for column in (rules, outcomes)
    ]
    found = effects.paired(*left, 2)
    for at in range(4):
        fit = sm.OLS(outcomes[:, at], np.column_stack([nuisance, rules[:, at]])).fit()
        assert found.difference[at] == pytest.approx(fit.params[-1])
        assert found.t[at] == pytest.approx(fit.tvalues[-1])
    assert found.df == fit.df_resid
