from dataclasses import replace

import numpy as np
import pytest
from small_tables import NAN, RULES, day_table

from miner.core.messages import MinerError
from miner.core.results import Evidence
from miner.hypotheses.design import Question, Run
from miner.hypotheses.rank import RankingRequest, ask_table, rank_table
from miner.hypotheses.why import why_table


def _table(n=60, **options):
    rng = np.random.default_rng(4)
    one, other = (rng.permutation(np.repeat([1.0, 0.0], n // 2)) for _ in range(2))
    outcomes = {
        "day_mean": 100 + rng.normal(0, 5, n) + 20 * one * other,
        "wake_glucose": 95 + rng.normal(0, 5, n),
    }
    return day_table(outcomes, {"late_dinner": one, "tag:rain": other}, **options)


# One question is that question fixed alone: the same numbers as beside a whole ranking.
def test_one_question_is_the_fixed_question_of_a_ranking():
    table, question = _table(), Question("tag:rain", "day_mean", "up")
    asked = ask_table(table, RULES, question)
    ranked = rank_table(
        table, RULES, RankingRequest(questions=[question]), run=Run(draws=100)
    ).hypotheses[0]
    assert asked == ranked
    assert (asked.rank, asked.family, asked.guess) == (1, "fixed", "up")


# What is expected of a claim follows the spread across clients where that is known.
def test_the_spread_across_clients_is_used_for_one_question():
    rng = np.random.default_rng(2)
    habit = np.tile([1.0, 0.0], 30)
    table = day_table({"day_mean": 100 + rng.normal(0, 3, 60) + 6 * habit}, {"tag:rain": habit})
    asked = Question("tag:rain", "day_mean", "up")
    wide, narrow = (
        ask_table(table, RULES, asked, spreads={("tag:rain", "day_mean"): spread})
        for spread in (9.0, 2.0)
    )
    assert wide.evidence == narrow.evidence == "clear"
    assert 0 < narrow.expected_on_new_days < wide.expected_on_new_days < wide.difference


@pytest.mark.parametrize(
    ("factor", "outcome", "found", "do"),
    [
        ("tag:rain", "day_meen", "no glucose measure 'day_meen'", "Did you mean 'day_mean'?"),
        ("tag:rain", "xyz", "no glucose measure 'xyz'", ""),
        ("lat_dinner", "day_mean", "no habit 'lat_dinner'", "Did you mean 'late_dinner'?"),
        ("short_sleep", "day_mean", "'short_sleep' cannot be set against 'day_mean'", ""),
        (
            "tag:rains",
            "day_mean",
            "'tag:rains' cannot be set against 'day_mean'",
            "Did you mean 'tag:rain'?",
        ),
    ],
)
def test_a_question_that_cannot_be_asked_is_refused_in_plain_words(factor, outcome, found, do):
    with pytest.raises(MinerError) as caught:
        ask_table(_table(), RULES, Question(factor, outcome))
    assert found in caught.value.found
    assert caught.value.expected
    assert do in caught.value.do
    assert caught.value.do


def _counted(why, *, high=None):
    used = [unit for unit in why.units if unit.used]
    return [
        sum(u.with_factor == side and (high is None or u.high == high) for u in used)
        for side in (1.0, 0.0)
    ]


# What is shown is what was counted: the used units of 'why' are those of the ranking's counts.
@pytest.mark.parametrize("gap", [False, True])
def test_the_units_behind_a_hypothesis_are_those_it_counts(gap):
    numbers = np.arange(60) + (np.arange(60) >= 30) * 2 if gap else None
    table = _table(numbers=numbers)
    frame = table.frame.copy()
    frame.iloc[4, frame.columns.get_loc("wake_glucose")] = NAN
    frame.iloc[9, frame.columns.get_loc("late_dinner")] = NAN
    frame.iloc[20, frame.columns.get_loc("usable")] = False
    frame.iloc[20, frame.columns.get_loc("left_out")] = "ill"
    cell = (frame.index[4], "wake_glucose")
    table = replace(
        table, frame=frame, measures=frame[list(table.factors)] * 10,
        reasons={cell: "too few readings", (frame.index[9], "late_dinner"): "no meals logged"},
        sources={(frame.index[5], "wake_glucose"): (("glucose.csv", 7),),
                 (frame.index[4], "late_dinner"): (("meals.csv", 3), ("meals.csv", 4))},
    )  # fmt: skip
    for item in rank_table(table, RULES, run=Run(draws=199)).hypotheses:
        why = why_table(table, RULES, item.id, "client-07")
        assert (why.client, why.id, why.factors, why.outcome, why.lag_days, why.unit) == (
            "client-07", item.id, item.factors, item.outcome, item.lag_days, "day",
        )  # fmt: skip
        assert _counted(why) == [item.counts.with_, item.counts.without]
        assert _counted(why, high=1.0) == [item.counts.with_high, item.counts.without_high]
        assert len(why.units) == 60
        assert why.units[20].reason == "ill"
        assert [unit.sensor for unit in why.units] == frame["sensor"].tolist()
    lagged = next(
        item for item in rank_table(table, RULES, run=Run(draws=100)).hypotheses
        if item.outcome == "wake_glucose" and item.factors == ("late_dinner",)
    )  # fmt: skip
    units = why_table(table, RULES, lagged.id, "x").units
    assert (units[4].used, units[4].outcome, units[4].reason) == (False, None, "too few readings")
    five = units[5]
    assert [(p.file, p.row) for p in five.places] == [("glucose.csv", 7)]
    factor = five.factors[0]
    assert factor.from_unit == frame.index[4]
    assert factor.value == frame["late_dinner"].iloc[4]
    assert factor.measure == 10 * frame["late_dinner"].iloc[4]
    assert [(p.file, p.row) for p in factor.places] == [("meals.csv", 3), ("meals.csv", 4)]
    assert units[10].factors[0].reason == "no meals logged"
    assert (units[10].used, units[10].with_factor) == (False, None)
    for at in (0, 30) if gap else (0,):
        assert str(units[at].factors[0].reason) == "there are no records of that day"
        assert units[at].factors[0].from_unit is None


def test_a_rule_of_two_can_be_asked_for_too():
    table = _table()
    pair = next(
        item
        for item in rank_table(table, RULES, run=Run(draws=999)).hypotheses
        if len(item.factors) == 2
    )
    assert pair.evidence is Evidence.CLEAR
    why = why_table(table, RULES, pair.id, "x")
    assert why.factors == pair.factors
    assert _counted(why) == [pair.counts.with_, pair.counts.without]
    both = [min(f.value for f in unit.factors) for unit in why.units]
    assert [unit.with_factor for unit in why.units] == both


def test_an_id_of_no_rule_is_refused():
    with pytest.raises(MinerError, match="no pattern '00000000'"):
        why_table(_table(), RULES, "00000000", "x")
