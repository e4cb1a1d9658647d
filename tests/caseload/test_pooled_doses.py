"""A measured habit over many clients: its cut and its dose are one question."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats as st

from miner import rulebook
from miner.caseload.fitting import HabitFit, PooledQuestion, _along, questions
from miner.caseload.pooling import judge, per_of
from miner.caseload.question import (
    PoolFit,
    Units,
    fit_question,
    own_slopes,
    usable,
    usable_dose,
)
from miner.core.results import Evidence, Shape
from miner.core.results.caseload import Caseload, Estimate

GUARD = rulebook.load().guardrails
DAYS = 28


def made(clients: int, seed: int, slope: float = 3.0) -> tuple[Units, Units]:
    """Return the same units with a habit's cut and with its amounts, the truth a line."""
    rng = np.random.default_rng(seed)
    g, t = np.repeat(np.arange(clients), DAYS), np.tile(np.arange(float(DAYS)), clients)
    hours = rng.normal(7, 1, g.size)
    y = 95 + 6 * rng.normal(size=clients)[g] + slope * -hours + 6 * rng.normal(size=g.size)
    weekend = (t % 7 >= 5)[:, None] * 1.0
    cut = Units(y, (hours < 6.3) * 1.0, g, t, weekend, (0,), np.arange(g.size))
    return cut, replace(cut, x=-hours)


def fits(clients: int, seed: int) -> dict[Shape, PoolFit]:
    cut, dose = made(clients, seed)
    return {Shape.CUT: fit_question(cut, each=False), Shape.DOSE: fit_question(dose, each=False)}


def dose_of(units: Units, least: int = 14) -> Units:
    return usable_dose(
        units, fewest_different=5, largest_tied=0.5, fewest_units=least, least_kept=0.1
    )


def test_the_slope_of_a_dose_is_recovered_for_what_it_is_told() -> None:
    units = made(40, 1)[1]
    fit = fit_question(dose_of(units))
    assert fit.reml.difference is not None
    assert fit.reml.standard_error is not None
    assert abs(fit.reml.difference - 3.0) < 3 * fit.reml.standard_error  # 3 an hour was planted
    # normal hours with an SD of 1: quarters lie 2 x 0.6745 apart (normal tables)
    assert np.median(fit.own.spans) == pytest.approx(2 * st.norm.ppf(0.75), rel=0.1)


def test_of_a_truth_that_is_a_line_the_dose_speaks() -> None:
    own = fits(12, 2)
    cut, dose = made(12, 2)
    along = _along({Shape.CUT: cut, Shape.DOSE: dose})
    habit = HabitFit(own, {}, 1.35, along)
    assert habit.shape is Shape.DOSE
    assert habit.best is own[Shape.DOSE]
    alone = own[Shape.DOSE].answer.p
    assert alone is not None
    assert alone < habit.p < 2 * alone
    # a cut of a normal measure at its lower quarter correlates with it by
    # phi(z) / sqrt(q (1 - q)) = 0.734 (Cohen 1983, Applied Psychological Measurement 7:249)
    assert along == pytest.approx(0.74, abs=0.06)


def test_both_shapes_know_of_each_other_as_far_as_they_are_alike() -> None:
    own = fits(12, 3)
    same, apart = (HabitFit(own, {}, 1.0, along) for along in (1.0, 0.0))
    alone = min(fit.answer.p or 1.0 for fit in own.values())
    assert same.p == pytest.approx(alone, rel=1e-6)
    # of two that know nothing of each other: 1 - (1 - p)^2 if both had a scale of their own;
    # they share one, which makes it a little more, and 2 p is the most (Bonferroni)
    assert 1.9 * alone < apart.p < 2.001 * alone


def test_one_shape_alone_has_its_own_p() -> None:
    own = fits(12, 4)[Shape.CUT]
    assert HabitFit({Shape.CUT: own}, {}, 1.0, 1.0).p == own.answer.p
    nothing = Estimate(None, None, None, None, None, None, 1, "no answer")
    none = replace(own, reml=nothing, two_stage=nothing)
    assert np.isnan(HabitFit({Shape.CUT: none}, {}, 1.0, 1.0).p)
    beside = HabitFit({Shape.CUT: none, Shape.DOSE: own}, {}, 1.0, 0.5)
    assert (beside.shape, beside.p) == (Shape.DOSE, own.answer.p)


def test_clients_whose_measure_hardly_differs_have_no_dose() -> None:
    units = made(5, 5)[1]
    x = units.x.copy()
    x[units.clients == 0] = np.where(np.arange(DAYS) % 3 == 0, x[units.clients == 0], 0.0)
    x[units.clients == 1] = np.tile([1.0, 2.0, 3.0, 4.0], 7)
    x[units.clients == 2] = np.r_[np.full(DAYS // 2, 5.0), np.full(6, np.nan), np.arange(8.0)]
    left = dose_of(replace(units, x=x), least=23)
    assert np.unique(left.clients).tolist() == [3, 4]


def test_a_measure_that_nobody_has_leaves_nobody() -> None:
    units = made(3, 6)[1]
    left = dose_of(replace(units, x=np.full(units.x.size, np.nan)))
    assert (left.who, left.y.size) == (0, 0)


def test_meals_of_one_day_are_one_day_with_it_or_without() -> None:
    times = np.tile(np.repeat(np.arange(10.0), 2) + np.tile([0.3, 0.6], 10), 2)
    clients = np.repeat([0, 1], 20)
    x = np.zeros(40)
    x[[0, 1]] = 1.0  # client 0: two meals of one day
    x[[20, 23]] = 1.0  # client 1: meals of two days
    units = Units(np.arange(40.0), x, clients, times, np.zeros((40, 0)), (), np.arange(40))
    left = usable(units, fewest_each_side=2, fewest_units=14, least_kept=0.1)
    assert np.unique(left.clients).tolist() == [1]


def test_a_dose_is_worth_acting_on_by_what_it_comes_to_between_quarters() -> None:
    rules = rulebook.load()
    question = PooledQuestion(
        "short_sleep", rules.factor("short_sleep"), 0, "wake_glucose", rules.outcome("wake_glucose")
    )
    assert per_of(question, Shape.CUT, 1.0) is None
    per = per_of(question, Shape.DOSE, 2.0)
    assert per is not None
    assert (per.amount, per.unit, per.towards, per.span) == (1.0, "h", "less", 2.0)
    answer = Estimate(3.0, 1.0, (1.0, 5.0), 30.0, 0.005, 0.0, 31)
    # 3 mg/dL an hour is 6 between quarters 2 h apart: more than the 5 that are worth acting on;
    # between quarters 1 h apart it is 3, and its 90 % interval ends at 3 + t(0.95, 30) = 4.7
    for span, expected in ((2.0, Evidence.HINT), (1.0, Evidence.LITTLE_SIGN)):
        worth = question.target.smallest_worth_it / span
        assert judge(answer, 0.005, 0.3, worth, GUARD, lambda _: ())[0] is expected


def test_a_slope_of_one_client_rests_on_nobody_elses_days() -> None:
    units = made(6, 7)[1]
    before = own_slopes(units)
    changed = units.clients == 2
    moved = replace(
        units, y=np.where(changed, 500 * units.x**2, units.y), x=np.where(changed, 9.0, 1) * units.x
    )
    after = own_slopes(moved)
    others = before.clients != 2
    np.testing.assert_allclose(after.spans[others], before.spans[others])
    for name in ("slopes", "errors", "likelihoods"):
        one, other = getattr(before.on_grid, name), getattr(after.on_grid, name)
        np.testing.assert_allclose(other[:, others], one[:, others], rtol=1e-8)
        assert not np.isclose(other[:, 2], one[:, 2]).any()


def test_a_habit_without_amounts_is_asked_by_its_cut_alone() -> None:
    rules = rulebook.load()
    columns = ["y:wake_glucose", "x:short_sleep@0", "d:short_sleep@0"]
    assert [item.factor for item in questions(columns, rules, "day")] == ["short_sleep"]


def test_what_is_pooled_says_its_shape(found: Caseload) -> None:
    by_name = {(item.factor, item.outcome): item for item in found.pooled}
    effect = by_name["short_sleep", "wake_glucose"]
    # a step was planted: the cut speaks, and the dose stands beside it
    assert (effect.shape, effect.per) == (Shape.CUT, None)
    assert effect.other_shape is not None
    assert effect.p is not None
    assert effect.other_shape.p is not None
    assert effect.p < effect.other_shape.p
    told = effect.to_dict()
    assert (told["shape"], told["per"]) == ("cut", None)
