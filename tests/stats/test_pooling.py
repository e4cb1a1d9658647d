import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.regression.linear_model import GLS
from statsmodels.stats.meta_analysis import combine_effects

from miner.stats.mixed_design import Panel
from miner.stats.pooling import paule_mandel, slopes_by_group, two_stage, within_between

effects = st.integers(0, 10_000).map(np.random.default_rng)


# statsmodels combine_effects: "iterated" is Paule-Mandel, use_t with the Hartung-Knapp scale. (At
# a tolerance near rounding it falls back to 0 from the solution, so 1e-7 is asked.)
@settings(max_examples=60, deadline=None, derandomize=True)
@given(rng=effects, k=st.integers(2, 25), spread=st.sampled_from([0.0, 0.5, 5.0]))
def test_agrees_with_statsmodels(rng, k, spread):
    errors = rng.uniform(0.3, 3, k)
    values = 1 + spread * rng.normal(size=k) + errors * rng.normal(size=k)
    found = paule_mandel(values, errors)
    other = combine_effects(values, errors**2, method_re="iterated", use_t=True, atol=1e-7)
    assert found.tau2 == pytest.approx(max(other.tau2, 0), rel=1e-4, abs=1e-5)
    assert found.estimate == pytest.approx(other.mean_effect_re, rel=1e-4, abs=1e-5)
    unadjusted = np.sqrt(1 / other.weights_re.sum())
    q = other.scale_hksj_re
    assert found.q == pytest.approx(q, rel=1e-3, abs=1e-4)
    assert found.standard_error == pytest.approx(unadjusted * np.sqrt(max(1, q)), rel=1e-3)
    assert found.freedom == k - 1
    assert found.spread**2 == pytest.approx(found.tau2)
    assert (found.groups, found.left_out, found.problem) == (k, 0, "")


# With equal standard errors and wide spread the answer is the one-sample t test.
def test_equal_errors_give_the_t_test():
    from scipy.stats import ttest_1samp

    values = np.array([3.1, -1.2, 4.4, 0.6, 7.9, 2.2])
    found = paule_mandel(values, np.full(6, 0.1))
    other = ttest_1samp(values, 0)
    assert found.estimate == pytest.approx(values.mean())
    assert found.p == pytest.approx(other.pvalue)
    assert found.interval == pytest.approx(tuple(other.confidence_interval()))
    assert found.tau2 == pytest.approx(values.var(ddof=1) - 0.01)
    assert found.q == pytest.approx(1)


# Values closer together than their errors: tau2 is 0, and the interval is not narrower than the
# fixed-effect one with t (Rover, Knapp & Friede 2015, BMC Med Res Methodol 15:99).
def test_agreement_beyond_chance_does_not_narrow_the_interval():
    found = paule_mandel([1.0, 1.0, 1.01], [1.0, 1.0, 1.0])
    assert found.tau2 == 0
    assert found.q < 1e-3
    assert found.standard_error == pytest.approx(1 / np.sqrt(3))


def test_unknown_groups_are_counted_and_too_few_told():
    found = paule_mandel([1.0, np.nan, 2.0, 3.0], [1.0, 1.0, np.nan, 0.0])
    assert (found.groups, found.left_out) == (1, 3)
    assert "at least two" in str(found.problem)
    assert np.isnan(found.estimate)
    kept = paule_mandel([1.0, np.nan, 2.0], [1.0, 1.0, 1.0])
    assert kept.estimate == paule_mandel([1.0, 2.0], [1.0, 1.0]).estimate
    assert kept.left_out == 1
    with pytest.raises(ValueError, match="lengths"):
        paule_mandel([1.0], [1.0, 2.0])


def test_within_and_between_against_pandas():
    rng = np.random.default_rng(1)
    frame = pd.DataFrame({"g": rng.choice(list("abcde"), 60), "x": rng.normal(size=60)})
    frame.loc[rng.choice(60, 12, replace=False), "x"] = np.nan
    within, between = within_between(frame.x, frame.g)
    mean = frame.groupby("g").x.transform("mean")
    assert between == pytest.approx(mean.where(frame.x.notna()).to_numpy(), nan_ok=True)
    assert within == pytest.approx((frame.x - mean).to_numpy(), nan_ok=True)


def test_a_group_without_a_known_value_stays_unknown():
    within, between = within_between([np.nan, np.nan, 1.0], [1, 1, 2])
    assert np.isnan(within[:2]).all()
    assert np.isnan(between[:2]).all()
    assert (within[2], between[2]) == (0, 1)


# statsmodels GLS, one group at a time, correlation phi^|t_i - t_j| written out.
@settings(max_examples=15, deadline=None, derandomize=True)
@given(rng=effects, phi=st.sampled_from([0.0, 0.3, 0.7]), extra=st.booleans())
def test_slopes_are_those_of_one_regression_a_group(rng, phi, extra):
    sizes = rng.integers(8, 20, 6)
    g = np.repeat(np.array(list("fbdace")), sizes)
    t = rng.permutation(np.arange(3 * g.size))[: g.size].astype(float)
    x = (rng.random(g.size) < 0.5).astype(float)
    drift = np.column_stack([t, np.where(g == "a", 1.0, x**2 + rng.random(g.size))])
    y = 50 + 3 * x + 0.01 * t + rng.normal(size=g.size)
    y[rng.integers(0, g.size, 4)] = np.nan
    nuisance = drift if extra else None
    found = slopes_by_group(y, x, Panel(g, t), nuisance=nuisance, phi=phi, fewest_freedom=1)
    assert found.names.tolist() == sorted("fbdace")
    for i, name in enumerate(found.names):
        mine = (g == name) & np.isfinite(y)
        X = np.column_stack([x[mine], np.ones(mine.sum())])
        if extra:
            X = np.column_stack([X, drift[mine][:, : 1 if name == "a" else 2]])
        if np.linalg.matrix_rank(X) < X.shape[1]:
            assert np.isnan(found.slopes[i])
            continue
        lag = np.abs(t[mine][:, None] - t[mine][None, :])
        other = GLS(y[mine], X, sigma=np.where(lag == 0, 1.0, phi**lag)).fit()
        assert found.slopes[i] == pytest.approx(other.params[0], rel=1e-6)
        assert found.standard_errors[i] == pytest.approx(other.bse[0], rel=1e-6)
        assert found.freedom[i] == other.df_resid
        assert found.units[i] == mine.sum()
        assert found.reasons[i] == ""


def test_groups_without_a_slope_say_why():
    g = np.array(["few"] * 4 + ["same"] * 6 + ["tied"] * 6 + ["good"] * 6 + ["none"])
    x = np.array([0, 1, 0, 1] + [1] * 6 + [0, 1] * 6 + [1.0])
    t = np.arange(g.size, dtype=float)
    t[11] = t[10]
    y = np.random.default_rng(2).normal(size=g.size)
    y[-1] = np.nan
    found = slopes_by_group(y, x, Panel(g, t), phi=0.5)
    why = dict(zip(found.names, map(str, found.reasons), strict=True))
    assert why["good"] == ""
    assert why["few"] == why["none"] == "too few units"
    assert why["same"] == "the column does not vary by itself"
    assert why["tied"] == "two units have the same time"
    assert np.isnan(found.slopes).tolist() == [reason != "" for reason in found.reasons]
    pooled, slopes = two_stage(y, x, Panel(g))
    assert slopes.reasons[found.names.tolist().index("tied")] == ""
    assert (pooled.groups, pooled.left_out) == (2, 3)


def test_nothing_known_at_all_has_no_slopes():
    found, slopes = two_stage([np.nan, np.nan], [1.0, 0.0], Panel(["a", "b"]))
    assert np.isnan(slopes.slopes).all()
    assert found.problem != ""


def test_wrong_use_is_refused():
    with pytest.raises(ValueError, match="lengths"):
        slopes_by_group([1.0, 2.0], [1.0], Panel([1, 1]))
    with pytest.raises(ValueError, match="phi"):
        slopes_by_group([1.0, 2.0], [1.0, 0.0], Panel([1, 1]), phi=0.5)
    with pytest.raises(ValueError, match="phi"):
        slopes_by_group([1.0, 2.0], [1.0, 0.0], Panel([1, 1], [0, 1]), phi=1.0)


# A nominal 5 % test errs within four standard errors of 5 % for few groups.
@pytest.mark.parametrize("groups", [5, 10, 20])
def test_size_of_the_two_stage_test(groups):
    rng, wrong, tries = np.random.default_rng(groups), 0, 400
    g = np.repeat(np.arange(groups), 25)
    for _ in range(tries):
        x = (rng.random(g.size) < 0.4).astype(float)
        y = 5 * rng.normal(size=groups)[g] + 3 * rng.normal(size=groups)[g] * x
        found, _ = two_stage(y + 5 * rng.normal(size=g.size), x, Panel(g))
        assert found.problem == ""
        wrong += found.p <= 0.05
    assert 0.01 < wrong / tries < 0.05 + 4 * np.sqrt(0.05 * 0.95 / tries)
