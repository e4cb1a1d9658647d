"""The weekday and the spread: what a claim must hold beside."""

import numpy as np
import pytest
import statsmodels.regression.linear_model as lm
from scipy.stats import norm, rankdata, ttest_ind
from small_tables import RULES, day_table, with_guard

from benchmarks.calibration.worlds import UNEVEN, month
from miner.core.results import DoubtCode, Evidence, Shape
from miner.hypotheses import tested
from miner.hypotheses.design import Question, Run, design
from miner.hypotheses.guard import Levels, doubts
from miner.hypotheses.rank import ask_table, rank_table
from miner.hypotheses.search import search

# Days without any dependence in time, so that ordinary least squares is the same regression.
INDEPENDENT = np.random.default_rng(12)


def weekly(n=56, slips=2, extra=0.0, seed=0):
    """Glucose is higher on Tuesdays and Thursdays, and so is the habit noted, but for slips."""
    rng = np.random.default_rng(seed)
    weekday = np.arange(n) % 7
    own = np.isin(weekday, (1, 3)).astype(float)
    habit = own.copy()
    turned = rng.permutation(n)[:slips]
    habit[turned] = 1 - habit[turned]
    return weekday, habit, 100 + 12 * own + extra * habit + rng.normal(0, 4, n)


def ranked(habit, outcome, rules=RULES):
    table = day_table({"day_mean": outcome}, {"tag:choir": habit})
    return rank_table(table, rules, run=Run(draws=499)).hypotheses[0]


def test_a_habit_of_certain_weekdays_is_a_hint_that_names_them():
    _, habit, outcome = weekly()
    item = ranked(habit, outcome)
    assert item.p_adjusted <= 0.05
    assert item.evidence is Evidence.HINT
    (doubt,) = item.doubts
    assert (doubt.code, doubt.other) == (DoubtCode.WEEKDAY, "tue thu")
    assert ranked(habit, outcome, with_guard(weekdays_from_days=57)).evidence is Evidence.CLEAR


# Tuesdays and Thursdays without a slip: within a weekday the habit never differs.
def test_a_habit_that_is_a_weekday_leaves_nothing():
    _, habit, outcome = weekly(slips=0)
    (doubt,) = ranked(habit, outcome).doubts
    assert (doubt.code, doubt.left) == (DoubtCode.WEEKDAY, 0.0)


# The habit itself goes with it, and it came on other weekdays too.
def test_a_habit_that_holds_within_weekdays_is_clear():
    rng = np.random.default_rng(1)
    habit = (rng.random(56) < 0.35).astype(float)
    item = ranked(habit, 100 + 3 * (np.arange(56) % 7 == 2) + 10 * habit + rng.normal(0, 4, 56))
    assert (item.evidence, item.doubts) == (Evidence.CLEAR, ())


# It mostly keeps to Tuesdays and Thursdays, and glucose goes with it on the other days as well.
def test_a_habit_of_certain_weekdays_that_holds_within_them_is_clear():
    _, habit, outcome = weekly(slips=10, extra=20.0)
    item = ranked(habit, outcome)
    assert (item.evidence, item.doubts) == (Evidence.CLEAR, ())


# Least squares on seven weekday columns, drift and the habit (statsmodels): the share of the
# difference that is left. The dependence fitted is none.
@pytest.mark.parametrize("seed", range(4))
def test_what_is_left_beside_weekdays_is_that_of_ordinary_least_squares(seed):
    weekday, habit, outcome = weekly(slips=6, seed=seed)
    table = day_table({"day_mean": outcome}, {"tag:choir": habit})
    found = search(design(table, RULES), "day_mean", Run(199))
    part, test = found.outcomes[0], found.tests[0]
    if part.white.dependence.w * part.white.dependence.phi:
        pytest.skip("days that depend on each other")
    told = doubts(test, Levels(0.05, 0.05))
    left = [doubt.left for doubt in told if doubt.code == "weekday"]
    n = len(habit)
    drift, rest = np.arange(n), weekday >= 5
    alone = lm.OLS(outcome, np.column_stack([np.ones(n), rest, drift, habit])).fit().params[-1]
    week = (weekday[:, None] == np.arange(7)).astype(float)
    beside = lm.OLS(outcome, np.column_stack([week, drift, habit])).fit().params[-1]
    assert left == pytest.approx([beside / alone], rel=1e-6)


def rare(sd, n=40, seed=0):
    """A habit on six of 40 days that scatter further than the others."""
    rng = np.random.default_rng(seed)
    habit = np.zeros(n)
    habit[rng.permutation(n)[:6]] = 1
    return habit, 100 + 9 * habit + rng.normal(0, 1, n) * np.where(habit == 1, sd, 2)


# Student's test passes, Welch's (scipy) does not: a rare habit whose days scatter is a hint.
@pytest.mark.parametrize("seed", [15, 31])
def test_a_rare_habit_whose_days_scatter_is_a_hint(seed):
    habit, outcome = rare(10, seed=seed)
    welch = ttest_ind(outcome[habit == 1], outcome[habit == 0], equal_var=False).pvalue
    assert ttest_ind(outcome[habit == 1], outcome[habit == 0]).pvalue < 0.05 < welch
    item = ranked(habit, outcome)
    assert item.p_adjusted <= 0.05
    assert [(d.code, d.other) for d in item.doubts] == [("unequal_spread", "with")]
    assert item.evidence is Evidence.HINT
    (turned,) = ranked(1 - habit, outcome).doubts
    assert (turned.code, turned.other) == ("unequal_spread", "without")
    assert ranked(habit, outcome, with_guard(unbalanced_share=0.0)).evidence is Evidence.CLEAR


def test_a_rare_habit_whose_days_are_alike_is_clear():
    assert ranked(*rare(2)).evidence is Evidence.CLEAR


# How much there was of a rare habit whose days scatter three times as far: the least squares p of
# its slope passes, with HC3 (statsmodels), which CR3 is for days of their own, it does not.
def test_the_dose_of_a_rare_habit_is_held_to_the_scatter_of_its_days():
    table = month(
        UNEVEN["uneven_3"],
        RULES,
        days=60,
        factors=15,
        seed=116,
        measured=True,
        outcomes=("minutes_above",),
    ).table
    asked = Question("late_dinner", "minutes_above", shape="dose")
    item = ask_table(table, RULES, asked)
    assert (item.evidence, item.shape) == (Evidence.HINT, Shape.DOSE)
    assert [(doubt.code, doubt.other) for doubt in item.doubts] == [("unequal_spread", "with")]
    assert ask_table(table, with_guard(unbalanced_share=0.0), asked).evidence is Evidence.CLEAR
    frame = table.frame
    scores = [
        norm.ppf((rankdata(values) - 0.375) / 60.25)
        for values in (frame["minutes_above"], table.measures["late_dinner"])
    ]
    sensors = [frame["sensor"] == sensor for sensor in sorted(set(frame["sensor"]))]
    X = np.column_stack([scores[1], frame["rest_day"], np.arange(60), *sensors]).astype(float)
    assert lm.OLS(scores[0], X).fit().pvalues[0] < 0.05
    assert lm.OLS(scores[0], X).fit(cov_type="HC3", use_t=True).pvalues[0] > 0.05


def test_a_rule_without_any_scatter_has_a_bound_beyond_every_other():
    numbers = dict.fromkeys(("score_t", "p", "p_adjusted", "critical"), 2.0)
    test = tested.Tested(None, None, difference=4.0, standard_error=0.0, **numbers)
    assert test.margin == np.inf
    assert test.interval == (4.0, 4.0)
