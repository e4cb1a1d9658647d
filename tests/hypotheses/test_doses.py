"""A measured habit is compared as a cut and as a dose: one hypothesis, the better one speaks."""

from dataclasses import replace

import naive
import numpy as np
import oracle
import pandas as pd
import pytest
import statsmodels.regression.linear_model as lm
from scipy.stats import norm, rankdata
from scipy.stats import t as student
from small_tables import NAN, RULES, day_table, with_factor, with_guard

from benchmarks.calibration.doses import dose_diary
from miner.core.messages import MinerError
from miner.core.results import DoubtCode, Evidence, Shape
from miner.hypotheses.candidates import candidates
from miner.hypotheses.design import Question, Run, design
from miner.hypotheses.error_rate import model, world
from miner.hypotheses.guard import adds_something, better, judge_all
from miner.hypotheses.rank import RankingRequest, ask_table, rank_table
from miner.hypotheses.search import search

FEW = RULES.model_copy(update={"guardrails": RULES.guardrails.model_copy(update={"draws": 1999})})


def nights(slope=-6.0, step=0.0, n=42, seed=0, unit=1.0, other=None):
    """Hours of sleep, and glucose at waking that falls by so much an hour of it."""
    rng = np.random.default_rng(seed)
    hours = rng.normal(6.8, 1.0, n).round(2)
    short = (hours < 6).astype(float)
    outcome = 100 + slope * (hours - 7) + step * short + rng.normal(0, 5, n)
    table = day_table({"wake_glucose": outcome}, {"short_sleep": short, **(other or {})})
    measures = table.measures.assign(short_sleep=hours * unit)
    return replace(table, measures=measures)


def found(table, rules=FEW, **options):
    return {
        i.factors: i
        for i in rank_table(table, rules, RankingRequest(**options), Run(999)).hypotheses
    }


# Contract, section 4: each hour less sleep comes before more glucose; the slope is that of
# generalised least squares of the outcome on the hours (statsmodels).
def test_the_slope_of_a_dose_is_told_towards_the_habit():
    table = nights()
    item = found(table)[("short_sleep",)]
    assert (item.shape, item.evidence) == (Shape.DOSE, Evidence.CLEAR)
    assert item.per.to_dict() | {"span": None} == {
        "amount": 1.0,
        "unit": "h",
        "towards": "less",
        "span": None,
    }
    hours = table.measures["short_sleep"].to_numpy()
    assert item.span == pytest.approx(np.subtract(*np.quantile(hours, [0.75, 0.25])))
    y, n = table.frame["wake_glucose"].to_numpy(), len(hours)
    X = np.column_stack([np.ones(n), table.frame["rest_day"], np.arange(n)]).astype(float)
    C = oracle.fit(oracle.normal_scores(y), X, np.arange(n), naive.GRID)["C"]
    answer = lm.GLS(y, np.column_stack([X, -hours]), sigma=C).fit()
    assert item.difference == pytest.approx(answer.params[-1], rel=1e-8)
    assert item.standard_error == pytest.approx(answer.bse[-1], rel=1e-8)
    assert 4 < item.difference < 8
    counts = item.counts
    assert counts.with_ == (hours < 6).sum()
    assert item.to_dict()["shape"] == "dose"


# The amount a slope is told for changes the numbers and nothing else.
def test_the_amount_told_for_is_a_matter_of_words():
    half = with_factor("short_sleep", per=0.5)
    one, other = found(nights())[("short_sleep",)], found(nights(), half)[("short_sleep",)]
    assert other.difference == pytest.approx(one.difference / 2)
    assert other.difference * other.span == pytest.approx(one.difference * one.span)
    assert other.expected_on_new_days * 2 == pytest.approx(one.expected_on_new_days)
    for name in ("evidence", "p", "id", "shape", "days_to_settle", "doubts"):
        assert getattr(other, name) == getattr(one, name)


def test_a_step_is_shown_as_a_cut():
    item = found(nights(slope=0.0, step=14.0, n=60))[("short_sleep",)]
    assert (item.shape, item.evidence, item.per) == (Shape.CUT, Evidence.CLEAR, None)
    assert item.id == found(nights())[("short_sleep",)].id


def test_a_cut_and_a_dose_are_one_question():
    ranked = rank_table(nights(), FEW, run=Run(draws=99))
    assert ranked.questions_asked == 1
    assert len(ranked.hypotheses) == 1


# Who never slept under six hours has no cut, and a dose all the same.
def test_a_dose_speaks_where_the_cut_has_too_few_days():
    table = nights(slope=-8.0)
    hours = table.measures["short_sleep"] - table.measures["short_sleep"].min() + 6
    frame = table.frame.assign(short_sleep=0.0)
    own = replace(table, frame=frame, measures=table.measures.assign(short_sleep=hours))
    item = found(own)[("short_sleep",)]
    assert (item.shape, item.counts.with_, item.withheld) == (Shape.DOSE, 0, None)
    assert item.evidence is Evidence.CLEAR


@pytest.mark.parametrize(
    "measure",
    [
        lambda hours: hours.where(np.arange(42) < 9),
        lambda hours: hours.round(0).clip(6, 7),
        lambda hours: hours.where(hours > 7, 6.0),
        lambda hours: hours * 0 + 7,
    ],
    ids=["known too seldom", "two amounts", "more than half the same", "never another"],
)
def test_what_is_no_dose(measure):
    table = nights()
    own = replace(table, measures=table.measures.apply(measure))
    plan = design(own, FEW)
    assert [r.shape for r in candidates(plan, plan.targets[0])] == [Shape.CUT]
    closed = with_factor("short_sleep", dose=False, per=None, each=None)
    assert found(own)[("short_sleep",)] == found(own, closed)[("short_sleep",)]


# Fewer amounts that differ than a rule book allows, and quarters that are one: there is no slope.
def test_quarters_that_are_one_are_no_dose():
    table = nights()
    hours = pd.Series([6.0, 6.5, 7.5, 8.0, 8.5] + [7.0] * 37, index=table.measures.index)
    own = replace(table, measures=table.measures.assign(short_sleep=hours))
    plan = design(own, with_guard(largest_share_tied=0.95))
    assert [r.shape for r in candidates(plan, plan.targets[0])] == [Shape.CUT]


# The stronger shape passes by its order alone, on the skewed outcome its size does not: the other
# shape, which passes with its size, speaks. Neither passes: the stronger speaks.
def test_a_shape_whose_size_holds_speaks_before_one_whose_order_alone_passes():
    part = search(design(nights(), FEW), "wake_glucose", Run(99))
    cut, dose = part.tests
    assert (cut.rule.shape, dose.rule.shape) == (Shape.CUT, Shape.DOSE)
    strong = replace(dose, score_t=6.0, p=1e-7, p_adjusted=0.01, critical=2.0)
    weaker = replace(
        cut, score_t=5.0, p=1e-5, p_adjusted=0.03, critical=2.0, standard_error=cut.difference / 5
    )
    unsure = replace(strong, standard_error=strong.difference)
    assert [test.holds for test in (strong, weaker, unsure)] == [True, True, False]
    assert better([weaker, strong], 0.05).rule.shape is Shape.DOSE
    assert better([weaker, unsure], 0.05).rule.shape is Shape.CUT
    assert better([weaker, unsure], 0.02).rule.shape is Shape.DOSE
    assert better([weaker, unsure], 0.05).p == better([weaker, strong], 0.05).p


# ---- what goes along with it


# Two measures that are nearly one cannot be told apart, though their cuts differ on many days.
def test_two_doses_that_rise_and_fall_together_are_withheld():
    rng = np.random.default_rng(3)
    table = nights(other={"late_sleep": (rng.random(42) < 0.4).astype(float)})
    later = 60 * (8 - table.measures["short_sleep"]) + rng.normal(0, 5, 42)
    own = replace(table, measures=table.measures.assign(late_sleep=later))
    for item in found(own).values():
        assert item.evidence is Evidence.CANNOT_TELL
        assert item.withheld.have is None
        assert any("rose and fell together" in note for note in map(str, item.notes))
    factors = dict(RULES.factors)
    factors["late_sleep"] = factors["late_sleep"].model_copy(update={"yields_to": ("short_sleep",)})
    factors["short_sleep"] = factors["short_sleep"].model_copy(update={"confounders": ()})
    yielding = RULES.model_copy(update={"factors": factors})
    item = found(own, yielding)[("short_sleep",)]
    assert item.evidence is Evidence.CLEAR
    assert any("the two rose and fell together" in note for note in map(str, item.notes))


# A short night together with a tag adds nothing beside hours of sleep that do all of it.
def test_a_set_must_add_something_beside_the_dose_of_its_part():
    n = 120
    rng = np.random.default_rng(1)
    table = nights(slope=-9.0, n=n, other={"tag:a": (rng.random(n) < 0.8).astype(float)})
    part = search(design(table, FEW), "wake_glucose", Run(draws=499, seed=0))
    pair = next(test for test in part.tests if len(test.rule.items) == 2)
    assert pair.p_adjusted <= 0.05
    assert not adds_something(pair, 0.05 / 4)
    told = judge_all(part.tests)
    assert {item.test.rule.items for item in told} == {(0,), (1,)}


def test_a_dose_that_keeps_to_weekdays_is_doubted():
    n = 56
    rng = np.random.default_rng(0)
    weekday = np.arange(n) % 7
    hours = 7 - 1.5 * np.isin(weekday, (1, 3)) + rng.normal(0, 0.3, n)
    outcome = 100 + 14 * np.isin(weekday, (1, 3)) + rng.normal(0, 4, n)
    table = day_table({"wake_glucose": outcome}, {"short_sleep": (hours < 6).astype(float)})
    table = replace(table, measures=table.measures.assign(short_sleep=hours))
    (doubt,) = found(table)[("short_sleep",)].doubts
    assert doubt.code is DoubtCode.WEEKDAY
    assert {"tue", "thu"} <= set(doubt.other.split())


# In months in which nothing is true the measures stay as they were: both shapes are tested there.
def test_months_in_which_nothing_is_true_keep_the_measures():
    table = nights()
    drawn = world(model(table, FEW, "wake_glucose"), np.random.default_rng(0))
    assert drawn.measures.equals(table.measures)


# ---- a fixed question


# No habit is rare here: what is asked of a rare one more than that is tested with the doubts.
def asked(table, *, draws=1999, **question):
    own = {"draws": draws, "unbalanced_share": 0.0}
    books = RULES.model_copy(update={"guardrails": RULES.guardrails.model_copy(update=own)})
    return ask_table(table, books, Question("short_sleep", "wake_glucose", **question))


# Named, a shape is its own t test; unnamed, the permutation of the larger of both, which costs
# less than asking twice.
def test_a_fixed_question_is_the_larger_of_both():
    table = nights(slope=-1.5, seed=5)
    cut, dose, both = (asked(table, shape=shape) for shape in ("cut", "dose", None))
    assert (cut.shape, dose.shape) == (Shape.CUT, Shape.DOSE)
    for item in (cut, dose):
        assert item.p == item.p_adjusted
    least = min(cut.p, dose.p)
    assert least - 0.01 < both.p < 2 * least + 0.02
    assert both.shape == (Shape.CUT if cut.p < dose.p else Shape.DOSE)
    low, high = both.interval
    reach = student.ppf(0.975, both.degrees_of_freedom) * both.standard_error
    wide = student.ppf(1 - 0.05 / 4, both.degrees_of_freedom) * both.standard_error
    assert 0.98 * reach < (high - low) / 2 < wide * 1.03


def test_the_search_and_a_fixed_question_name_the_same_hypothesis():
    item = asked(nights())
    assert (item.shape, item.evidence) == (Shape.DOSE, Evidence.CLEAR)
    assert item.id == found(nights())[("short_sleep",)].id
    assert asked(nights(), shape="cut").id == item.id
    assert asked(nights()) == item


def test_a_shape_that_was_named_speaks_in_the_search_too():
    question = Question("short_sleep", "wake_glucose", doubt="looked", shape="cut")
    ranked = rank_table(nights(), FEW, RankingRequest(questions=[question]), run=Run(draws=999))
    (item,) = [one for one in ranked.hypotheses if one.family == "fixed"]
    assert item.shape is Shape.CUT
    assert "looked" in item.notes


def test_a_dose_that_cannot_be_tested_says_so():
    table = nights()
    own = replace(table, measures=table.measures * NAN)
    item = asked(own, shape="dose")
    assert str(item.withheld.reason).startswith("its amount is known too seldom")
    assert asked(own).shape is Shape.CUT


# On a skewed outcome the stronger shape passes by its order alone: the one whose size holds speaks.
def test_of_a_fixed_question_a_shape_whose_size_holds_speaks():
    rng, n = np.random.default_rng(19), 30
    hours = rng.normal(6.8, 1, n).round(2)
    short = (hours < 6).astype(float)
    outcome = 100 + 4 * np.exp(1.2 * (rng.normal(size=n) + 0.9 * short - 0.35 * (hours - 7)))
    table = day_table({"wake_glucose": outcome}, {"short_sleep": short})
    table = replace(table, measures=table.measures.assign(short_sleep=hours))
    cut, dose, both = (asked(table, shape=shape) for shape in ("cut", "dose", None))
    assert dose.p < cut.p < 0.01
    assert DoubtCode.ORDER in {doubt.code for doubt in dose.doubts}
    assert (both.shape, both.evidence) == (Shape.CUT, Evidence.CLEAR)
    assert both.interval[0] > 0


# A guess makes it one-sided: half the p in its direction, and the end of the interval is that of
# 95 % on one side (statsmodels). The other way it can be no more than the other way.
@pytest.mark.parametrize("shape", ["cut", "dose", None])
def test_a_guess_is_one_sided(shape):
    table = nights(slope=-4.0, seed=4)
    plain, up, down = (asked(table, shape=shape, guess=g) for g in (None, "up", "down"))
    assert up.p == pytest.approx(plain.p / 2, rel=0.15, abs=0.002)
    assert down.p > 0.8
    assert shape is None or down.p == pytest.approx(1 - up.p)
    assert (up.difference, up.shape) == (plain.difference, plain.shape)
    if shape:
        reach = student.ppf(0.95, up.degrees_of_freedom) * up.standard_error
        assert up.interval[0] == pytest.approx(up.difference - reach)
    assert up.doubts == ()
    assert DoubtCode.OTHER_WAY in {doubt.code for doubt in down.doubts}
    assert down.evidence not in (Evidence.CLEAR, Evidence.HINT)


# Holm over one-sided p: statsmodels' multipletests.
def test_holm_over_guesses():
    from statsmodels.stats.multitest import multipletests

    rng = np.random.default_rng(8)
    habits = {f"tag:{k}": (rng.random(50) < 0.4).astype(float) for k in range(3)}
    outcome = 100 + 4 * habits["tag:0"] - 3 * habits["tag:1"] + rng.normal(0, 5, 50)
    table = day_table({"day_mean": outcome}, habits)
    guesses = dict(zip(habits, ("up", "down", "up"), strict=True))
    questions = [Question(name, "day_mean", guess=way) for name, way in guesses.items()]
    ranked = rank_table(table, RULES, RankingRequest(questions=questions), run=Run(draws=99))
    items = [item for item in ranked.hypotheses if item.family == "fixed"]
    for item in items:
        way = 1 if item.guess == "up" else -1
        alone = rank_table(
            table,
            RULES,
            RankingRequest(questions=[Question(item.factors[0], "day_mean")]),
            run=Run(draws=99),
        ).hypotheses[0]
        tail = alone.p / 2 if way * alone.difference > 0 else 1 - alone.p / 2
        assert item.p == pytest.approx(tail, rel=1e-9)
    adjusted = multipletests([item.p for item in items], method="holm")[1]
    np.testing.assert_allclose([item.p_adjusted for item in items], adjusted, rtol=1e-9)


# ---- the rule book


# One factor a measure and window has the dose, and each says for how much of what.
@pytest.mark.parametrize("unit", ["day", "meal"])
def test_every_measure_has_one_dose(unit):
    seen = {}
    for name, rule in RULES.factors_of(unit).items():
        if rule.dose:
            assert rule.each.startswith("each ")
            for window in rule.lag:
                assert seen.setdefault((rule.measure, window), name) == name
    assert len(set(seen.values())) == (18 if unit == "day" else 7)


@pytest.mark.parametrize("missing", ["per", "each"])
def test_a_dose_without_its_words_is_refused(missing):
    from miner.rulebook import FactorRule

    raw = RULES.factors["short_sleep"].model_dump(by_alias=True) | {missing: None}
    with pytest.raises(ValueError, match="dose_unsaid"):
        FactorRule.model_validate(raw)


# ---- what it finds: a small, seeded part of benchmarks/calibration/doses.py


def test_a_linear_truth_is_found_more_often_than_by_its_cut():
    hits = {"dose": 0, "cut": 0}
    for seed in range(12):
        table = dose_diary(RULES, 42, "linear", seed)
        for shape in hits:
            question = Question(table.factors[0], "day_mean", shape=shape)
            hits[shape] += ask_table(table, FEW, question).evidence is Evidence.CLEAR
    assert hits["dose"] >= 8
    assert hits["dose"] > hits["cut"] + 2


def test_normal_scores_of_a_dose_are_blom_s():
    plan = design(nights(), FEW)
    dose = candidates(plan, plan.targets[0])[1]
    assert dose.shape is Shape.DOSE
    expected = norm.ppf((rankdata(dose.amounts) - 0.375) / (42 + 0.25))
    np.testing.assert_allclose(dose.values, expected, atol=1e-12)


def test_an_unknown_shape_is_told():
    with pytest.raises(MinerError):
        ask_table(nights(), FEW, Question("nothing", "wake_glucose", shape="dose"))
