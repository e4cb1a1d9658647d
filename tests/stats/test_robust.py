"""CR2 and CR3 with their degrees of freedom, against clubSandwich, statsmodels, Welch, refits."""

import csv

import numpy as np
import pytest
from scipy import stats

from miner.core import resources
from miner.stats.effects import orthonormal, residual, robust

REFERENCE = resources.folder("datasets") / "reference"


def rows(name):
    with (REFERENCE / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _orthodont():
    data = rows("d_orthodont_unbalanced.csv")
    y = np.array([float(row["distance"]) for row in data])
    age = np.array([float(row["age"]) for row in data])
    male = np.array([float(row["Sex"] == "Male") for row in data])
    return y, {"age": age, "male": male}, np.array([row["Subject"] for row in data])


def _sleepstudy(days):
    data = [row for row in rows("d_sleepstudy.csv") if float(row["Days"]) in days]
    y = np.array([float(row["Reaction"]) for row in data])
    return (
        y,
        {"Days": np.array([float(row["Days"]) for row in data])},
        np.array([row["Subject"] for row in data]),
    )


MODELS = {
    "F-ORTHU": (_orthodont, True),
    "F-SLEEP": (lambda: _sleepstudy(range(10)), True),
    "F-ROWS": (_orthodont, False),
    "F-TWO": (lambda: _sleepstudy((0, 9)), False),
}


def fitted(y, column, others, groups, power=0.5):
    """One column beside an intercept and others."""
    _, codes = np.unique(groups, return_inverse=True)
    order = np.argsort(codes, kind="stable")
    basis = orthonormal(np.column_stack([np.ones(len(y)), *others])[order])
    x, left = residual(basis, np.column_stack([column, y])[order]).T
    return robust(x, left, basis, codes[order].astype(float), power)


# R 4.2.2, clubSandwich 0.5.8: datasets/reference/f_cr2.R.
@pytest.mark.parametrize(
    "expected", [row for row in rows("f_cr2_expected.csv") if row["term"] != "(Intercept)"],
    ids=lambda row: f"{row['id']} {row['term']}",
)  # fmt: skip
def test_clubsandwich(expected):
    read, clustered = MODELS[expected["id"]]
    y, columns, groups = read()
    groups = groups if clustered else np.arange(len(y))
    others = [values for name, values in columns.items() if name != expected["term"]]
    found = fitted(y, columns[expected["term"]], others, groups)
    assert found.difference == pytest.approx(float(expected["estimate"]), rel=1e-9)
    assert found.standard_error == pytest.approx(float(expected["se"]), rel=1e-9)
    assert found.df == pytest.approx(float(expected["df"]), rel=1e-9)


# With one unit a group CR2 is HC2, CR3 HC3 (MacKinnon & White 1985, J Econometrics 29:305).
@pytest.mark.parametrize(("kind", "power"), [("HC2", 0.5), ("HC3", 1.0)])
def test_units_of_their_own_are_those_of_a_general_library(kind, power):
    import statsmodels.regression.linear_model as lm

    rng = np.random.default_rng(3)
    for _ in range(5):
        X = rng.normal(size=(30, 3))
        x = (rng.random(30) < 0.2).astype(float)
        y = X @ [1.0, -2.0, 0.5] + x + rng.normal(size=30) * (1 + 2 * x)
        design = np.column_stack([np.ones(30), X, x])
        fit = lm.OLS(y, design).fit(cov_type=kind)
        found = fitted(y, x, list(X.T), np.arange(30), power)
        assert found.difference == pytest.approx(fit.params[-1], rel=1e-9)
        assert found.standard_error == pytest.approx(fit.bse[-1], rel=1e-9)


# CR3 is the jackknife: each group left out in turn, the squared changes added up.
def test_groups_left_out_in_turn_are_cr3():
    y, columns, groups = _orthodont()
    X = np.column_stack([columns["age"], columns["male"], np.ones(len(y))])

    def slope(keep):
        return np.linalg.lstsq(X[keep], y[keep], rcond=None)[0][0]

    whole = slope(groups != "")
    changes = [slope(groups != group) - whole for group in np.unique(groups)]
    found = fitted(y, columns["age"], [columns["male"]], groups, 1.0)
    assert found.standard_error == pytest.approx(np.sqrt(np.square(changes).sum()), rel=1e-9)


# Two groups of units: Welch's standard error, and the degrees of freedom of Bell & McCaffrey for
# two means (Imbens & Kolesar 2016, Rev Econ Stat 98:701, section II; formula from memory).
@pytest.mark.parametrize(("few", "many"), [(5, 25), (8, 12), (3, 40)])
def test_two_groups_are_welch(few, many):
    rng = np.random.default_rng(few)
    one, other = rng.normal(2, 3, few), rng.normal(0, 1, many)
    x = np.repeat([1.0, 0.0], [few, many])
    found = fitted(np.concatenate([one, other]), x, [], np.arange(few + many))
    welch = stats.ttest_ind(one, other, equal_var=False)
    assert found.difference / found.standard_error == pytest.approx(welch.statistic, rel=1e-9)
    n = few + many
    bell = n**2 * (few - 1) * (many - 1) / (few**2 * (few - 1) + many**2 * (many - 1))
    assert found.df == pytest.approx(bell, rel=1e-9)
    tail = 2 * stats.t.sf(abs(welch.statistic), bell)
    assert found.p == pytest.approx(tail, rel=1e-9)


# A unit that nothing is left of beside the rest (a level of its own) weighs nothing.
def test_a_unit_that_is_fitted_whole_is_no_fault():
    rng = np.random.default_rng(0)
    x, y = rng.normal(size=20), rng.normal(size=20)
    alone = np.zeros(20)
    alone[4] = 1.0
    found = fitted(y, x, [alone], np.arange(20))
    keep = np.arange(20) != 4
    without = fitted(y[keep], x[keep], [], np.arange(19))
    assert found.standard_error == pytest.approx(without.standard_error, rel=1e-9)
    assert found.df == pytest.approx(without.df, rel=1e-9)


def test_a_column_of_which_nothing_is_left_has_no_error_and_no_p():
    found = robust(np.zeros(5), np.arange(5.0), np.empty((5, 0)), np.arange(5.0))
    assert np.isnan([found.difference, found.standard_error, found.df, found.p]).all()


def test_a_perfect_fit_is_sure():
    x = np.array([1.0, -1.0, 2.0, -2.0])
    found = robust(x, 3 * x, np.empty((4, 0)), np.arange(4.0))
    assert (found.difference, found.standard_error, found.p) == (3, 0, 0)
    assert np.isnan(robust(x, 0 * x, np.empty((4, 0)), np.arange(4.0)).p)
