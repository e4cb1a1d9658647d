import numpy as np
import pytest

from miner.stats.mixed import fit_mixed
from miner.stats.mixed_design import Panel
from miner.stats.pooling import slopes_by_group
from miner.stats.shrunken_slopes import shrunken_slopes


def caseload(rng, clients, days=30, spread=3.0):
    g = np.repeat(np.arange(clients), days)
    x = (rng.random(g.size) < 0.3).astype(float)
    truth = 2 + spread * rng.normal(size=clients)
    y = 100 + 8 * rng.normal(size=clients)[g] + truth[g] * x + 10 * rng.normal(size=g.size)
    return y, np.column_stack([np.ones(g.size), x]), g, x, truth


# Twenty caseloads of 1,000: the clients whose raw slope is among the highest 5 %.
def test_intervals_of_the_most_extreme_cover_and_the_raw_slopes_overstate():
    rng = np.random.default_rng(5)
    covered, raw, shrunken, true = [], [], [], []
    for _ in range(20):
        y, X, g, x, truth = caseload(rng, 1000)
        fit = fit_mixed(y, X, Panel(g), x)
        found = shrunken_slopes(fit, y, X, Panel(g), slope_column=1)
        own = slopes_by_group(y, x, Panel(g)).slopes
        top = np.argsort(own)[-50:]
        low, high = found.intervals[top].T
        covered.append((low <= truth[top]) & (truth[top] <= high))
        raw.append(own[top].mean())
        shrunken.append(found.slopes[top].mean())
        true.append(truth[top].mean())
    assert 0.93 <= np.mean(covered) <= 0.97
    assert np.mean(raw) > np.mean(true) + 2
    assert np.mean(shrunken) == pytest.approx(np.mean(true), abs=0.3)


# With few clients the spread is often estimated as 0; taken as known, intervals cover 80 in 100.
@pytest.mark.parametrize("random", ["both", "uncorrelated"])
def test_intervals_cover_with_few_clients_too(random):
    rng = np.random.default_rng(21)
    covered = []
    for _ in range(40):
        y, X, g, x, truth = caseload(rng, 20)
        fit = fit_mixed(y, X, Panel(g), x, random=random)
        found = shrunken_slopes(fit, y, X, Panel(g), slope_column=1)
        covered.append((found.intervals[:, 0] <= truth) & (truth <= found.intervals[:, 1]))
    assert 0.93 <= np.mean(covered) <= 0.985


# The average over the spread, against a plain sum over a fine and wide grid of the whole
# likelihood with no algebra of groups.
def test_average_over_the_spread_against_a_fine_grid():
    rng = np.random.default_rng(7)
    y, X, g, x, _ = caseload(rng, 8, days=10, spread=6.0)
    fit = fit_mixed(y, X, Panel(g), x, random="slope")
    found = shrunken_slopes(fit, y, X, Panel(g), slope_column=1)
    Z = x[:, None] * (g[:, None] == np.arange(8))
    weights, means, squares = [], [], []
    for tau in np.linspace(0.005, 12, 1500):
        V = np.eye(y.size) + tau**2 * Z @ Z.T
        inverse = np.linalg.inv(V)
        information = X.T @ inverse @ X
        b = np.linalg.solve(information, X.T @ inverse @ y)
        rest = y - X @ b
        rss = rest @ inverse @ rest
        deviance = np.linalg.slogdet(V)[1] + np.linalg.slogdet(information)[1]
        weights.append(np.log(tau) - (deviance + (y.size - 2) * np.log(rss)) / 2)
        along = tau**2 * Z.T @ inverse
        row = np.array([0.0, 1.0]) - along @ X
        own = tau**2 * np.eye(8) - tau**4 * Z.T @ inverse @ Z
        own += row @ np.linalg.inv(information) @ row.T
        mean = b[1] + along @ rest
        means.append(mean)
        squares.append(mean**2 + rss / (y.size - 2) * np.diag(own))
    weights = np.exp(np.array(weights) - max(weights))
    weights /= weights.sum()
    mean = weights @ np.array(means)
    error = np.sqrt(weights @ np.array(squares) - mean**2)
    assert found.slopes == pytest.approx(mean, abs=0.02 * error.max())
    assert found.standard_errors == pytest.approx(error, rel=0.02)


def test_no_spread_leaves_the_slope_of_all():
    y, X, g, x, _ = caseload(np.random.default_rng(3), 30)
    for client in range(30):
        mine = g == client
        y[mine] -= X[mine] @ np.linalg.lstsq(X[mine], y[mine], rcond=None)[0]
    y += 2 * x
    fit = fit_mixed(y, X, Panel(g), x)
    assert fit.boundary == ("intercept", "slope")
    found = shrunken_slopes(fit, y, X, Panel(g), slope_column=1)
    assert found.slopes == pytest.approx(np.full(30, 2.0))
    assert (found.standard_errors > fit.standard_errors[1]).all()


def test_a_fit_with_a_problem_gives_no_predictions():
    y, X, g, x, _ = caseload(np.random.default_rng(4), 5)
    y[0] = np.nan
    fit = fit_mixed(y, X, Panel(g), x)
    found = shrunken_slopes(fit, y, X, Panel(g), slope_column=1)
    assert found.problem == fit.problem != ""
    assert np.isnan(found.slopes).all()
    assert len(found.slopes) == 5


def test_a_model_without_a_random_slope_is_refused():
    y, X, g, _, _ = caseload(np.random.default_rng(4), 5)
    fit = fit_mixed(y, X, Panel(g), random="intercept")
    with pytest.raises(ValueError, match="no random slope"):
        shrunken_slopes(fit, y, X, Panel(g), slope_column=1)
