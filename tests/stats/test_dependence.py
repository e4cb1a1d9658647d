from pathlib import Path

import numpy as np
import oracle
import pandas as pd
import pytest

from miner.stats import dependence as dep
from miner.stats import effects
from miner.stats.effects import orthonormal, residual

REFERENCE = Path(__file__).parents[2] / "datasets" / "reference"


# First-order autoregression: the inverse of its correlation is tridiagonal, with 1, 1 + phi^2 and
# -phi, over 1 - phi^2 (Box, Jenkins & Reinsel 1994, Time Series Analysis, 3rd ed., A7.2).
@pytest.mark.parametrize("phi", [0.2, 0.7, 0.9])
def test_days_in_a_row_are_a_first_order_autoregression(phi):
    n = 8
    answer = np.diag([1.0] + [1 + phi**2] * (n - 2) + [1.0])
    answer -= phi * (np.eye(n, k=1) + np.eye(n, k=-1))
    found = np.linalg.inv(dep.correlation(np.arange(n, dtype=float), phi, 1.0))
    np.testing.assert_allclose(found, answer / (1 - phi**2), atol=1e-9)


# Prais & Winsten 1954: whitening takes phi^gap of the day before away.
def test_whitening_with_a_gap_takes_the_day_before_away():
    times, phi = np.array([0.0, 1, 2, 6, 7]), 0.6
    y = np.array([3.0, 1.0, 4.0, 1.0, 5.0])
    r = phi ** np.diff(times)
    answer = np.append(y[0], (y[1:] - r * y[:-1]) / np.sqrt(1 - r**2))
    found = dep.whiten(times, dep.Dependence(phi, 1.0), y[:, None])
    np.testing.assert_allclose(found[:, 0], answer, rtol=1e-12)


@pytest.mark.parametrize(("phi", "w"), [(0.0, 0.0), (0.0, 0.7), (0.5, 0.4), (0.9, 1.0)])
def test_correlation_and_whitening_are_those_of_the_oracle(phi, w):
    times = np.cumsum(np.random.default_rng(3).integers(1, 4, 20)).astype(float)
    C = dep.correlation(times, phi, w)
    np.testing.assert_allclose(C, oracle.correlation(times, phi, w), atol=1e-14)
    inverse = dep.whiten(times, dep.Dependence(phi, w), np.eye(20))
    np.testing.assert_allclose(inverse @ C @ inverse.T, np.eye(20), atol=1e-10)


def test_units_of_one_day_share_that_day():
    times = np.array([0.0, 0, 0, 1])
    answer = [[1, 0.4, 0.4, 0.2], [0.4, 1, 0.4, 0.2], [0.4, 0.4, 1, 0.2], [0.2, 0.2, 0.2, 1]]
    np.testing.assert_allclose(dep.correlation(times, 0.5, 0.4), answer)


def _beav2():
    data = pd.read_csv(REFERENCE / "e_beav2.csv")
    X = np.column_stack([np.ones(len(data)), data["activ"]])
    answers = pd.read_csv(REFERENCE / "e_r_extra_expected.csv")
    answers = answers[answers["inputs"] == "gls corAR1 REML"].set_index("stat")["value"]
    expected = {
        name: (float(answers[f"coef|{name}"]), float(answers[f"se|{name}"]))
        for name in ("(Intercept)", "activ")
    }
    times = np.arange(len(data), dtype=float)
    y = data["temp"].to_numpy(float)
    return times, y, X, expected, float(answers["phi"]), float(answers["logLik"])


def _orthodont():
    data = pd.read_csv(REFERENCE / "d_orthodont.csv")
    # Persons so far apart in time that phi to that power is 0: each is a series of its own.
    person = data["Subject"].astype("category").cat.codes
    data = data.assign(time=10_000.0 * person + (data["age"] - 8) / 2).sort_values("time")
    answers = pd.read_csv(REFERENCE / "d_nlme_expected.csv")
    model = "nlme gls Orthodont distance~age corAR1 within Subject REML"
    answers = answers[answers["model"] == model]
    by_term = answers.dropna(subset="term").set_index(["term", "stat"])["value"]
    whole = answers[answers["term"].isna()].set_index("stat")["value"]
    expected = {
        name: (float(by_term[name, "estimate"]), float(by_term[name, "se"]))
        for name in ("(Intercept)", "age")
    }
    X = np.column_stack([np.ones(len(data)), data["age"]])
    y = data["distance"].to_numpy(float)
    return data["time"].to_numpy(), y, X, expected, float(whole["phi"]), float(whole["logLik"])


SERIES = pytest.mark.parametrize("series", [_beav2, _orthodont])


# R 4.2.2, nlme 3.1.162: gls(..., correlation = corAR1(), method = "REML").
@SERIES
def test_coefficients_and_standard_errors_are_those_of_r(series):
    times, y, X, expected, phi, _ = series()
    white = dep.whiten(times, dep.Dependence(phi, 1.0), np.column_stack([y, X]))
    for at, (name, answer) in enumerate(expected.items()):
        basis = orthonormal(np.delete(white[:, 1:], at, axis=1))
        left = residual(basis, white)
        found = effects.single(left[:, [1 + at]], left[:, 0], basis.shape[1])
        pair = (found.difference[0], found.standard_error[0])
        assert pair == pytest.approx(answer, rel=1e-7), name


# The constant that restricted_loglik leaves out: (n - p)/2 (log 2 pi + 1 - log(n - p)).
@SERIES
def test_the_restricted_likelihood_is_that_of_r(series):
    times, y, X, _, phi, loglik = series()
    left = len(y) - X.shape[1]
    found = dep.restricted_loglik(dep.spectrum(times, (phi,)), y[:, None], X, (1.0,))[0, 0, 0]
    found -= left / 2 * (np.log(2 * np.pi) + 1 - np.log(left))
    assert found == pytest.approx(loglik, abs=1e-6)


@SERIES
def test_the_restricted_likelihood_peaks_where_rs_does(series):
    times, y, X, _, phi, _ = series()
    grid = tuple(np.round(np.arange(0.5, 0.99, 0.002), 3))
    found = dep.fit(dep.spectrum(times, grid), y[:, None], X, (1.0,))[0]
    assert abs(found.phi - phi) <= 0.001 + 1e-9
    assert found.w == 1.0


# The brute-force likelihood: days with gaps, and several meals a day.
@pytest.mark.parametrize("seed", range(10))
def test_the_likelihood_and_its_peak_are_those_of_the_oracle(seed):
    rng = np.random.default_rng(seed)
    n = 24
    times = np.sort(rng.integers(0, 9, n)) if seed % 2 else np.cumsum(rng.integers(1, 3, n))
    times = times.astype(float)
    X = np.column_stack([np.ones(n), times % 7 >= 5, times - times.mean()]).astype(float)
    root = np.linalg.cholesky(oracle.correlation(times, 0.7, 0.8))
    outcomes = root @ rng.normal(size=(n, 3))
    phis, ws = (0.0, 0.3, 0.6, 0.9), (0.0, 0.4, 0.8, 0.95)
    basis = dep.spectrum(times, phis)
    surface = dep.restricted_loglik(basis, outcomes, X, ws)
    assert surface.shape == (4, 4, 3)
    for at in range(3):
        answer = np.array(
            [
                [
                    oracle.reml_loglik(outcomes[:, at], X, oracle.correlation(times, phi, w))
                    for w in ws
                ]
                for phi in phis
            ]
        )
        gap = surface[:, :, at] - answer
        np.testing.assert_allclose(gap, gap[0, 0], atol=1e-7)
        found = dep.fit(basis, outcomes, X, ws)[at]
        best = oracle.fit(outcomes[:, at], X, times, [(w, phi) for phi in phis for w in ws])
        np.testing.assert_allclose(
            oracle.correlation(times, found.phi, found.w), best["C"], atol=1e-12
        )


def test_an_outcome_is_fitted_the_same_alone_and_beside_others():
    rng = np.random.default_rng(8)
    times, X = np.arange(40.0), np.ones((40, 1))
    outcomes = np.cumsum(rng.normal(size=(40, 3)), axis=0) + rng.normal(size=(40, 3))
    basis = dep.spectrum(times)
    together = dep.fit(basis, outcomes, X)
    assert together == [dep.fit(basis, outcomes[:, [at]], X)[0] for at in range(3)]
    assert len({(found.phi, found.w) for found in together}) > 1


# Meals of one day that share all of their variance cannot differ: that corner is closed.
def test_a_singular_correlation_is_never_chosen():
    times = np.repeat(np.arange(8.0), 3)
    y = np.random.default_rng(2).normal(size=(24, 1)) * 0.01 + np.repeat(np.arange(8.0), 3)[:, None]
    surface = dep.restricted_loglik(dep.spectrum(times), y, np.ones((24, 1)))
    assert np.isneginf(surface[:, -1]).all()
    assert np.isfinite(surface[:, :-1]).all()
    assert dep.fit(dep.spectrum(times), y, np.ones((24, 1)))[0].w < 1.0


# An outcome that the nuisance explains whole gives every correlation the same likelihood but for
# its determinant: finite, no warning.
@pytest.mark.filterwarnings("error")
def test_an_outcome_that_is_all_nuisance_is_fitted_without_a_warning():
    times = np.arange(12.0)
    X = np.column_stack([np.ones(12), times])
    surface = dep.restricted_loglik(dep.spectrum(times), X[:, [1]], X)
    assert np.isfinite(surface).all()


def test_of_equal_likelihoods_the_least_dependence_is_chosen():
    basis = dep.spectrum(np.arange(6.0), (0.0,))
    y = np.random.default_rng(0).normal(size=(6, 1))
    assert dep.fit(basis, y, np.ones((6, 1)), (0.0, 0.5))[0] == dep.Dependence(0.0, 0.0)
