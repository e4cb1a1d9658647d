"""The day as a whole: asked about, never searched."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm, rankdata
from small_tables import NAN, RULES, day_table, meal_table

from miner.core.messages import MinerError
from miner.core.results import Evidence
from miner.hypotheses.design import Question, Run, with_whole_day
from miner.hypotheses.rank import RankingRequest, ask_table, rank_table
from miner.hypotheses.why import why_table


def _table(n=44, effect=5.0, seed=0):
    rng = np.random.default_rng(seed)
    habit = (rng.random(n) < 0.4).astype(float)
    names = ("wake_glucose", "day_mean", "variability", "biggest_rise")
    outcomes = {name: 100 + rng.normal(0, 5, n) for name in names}
    for name in names[1:]:
        outcomes[name] += effect * habit
    outcomes["wake_glucose"][1:] += effect * habit[:-1]
    outcomes["day_mean"][5] = NAN
    usable = np.arange(n) != 9
    numbers = np.arange(n) + (np.arange(n) > 20)
    return day_table(outcomes, {"late_dinner": habit}, usable=usable, numbers=numbers)


def _scores(values, used):
    out = np.full(len(values), NAN)
    known = used & ~np.isnan(values)
    out[known] = norm.ppf((rankdata(values[known]) - 0.375) / (known.sum() + 0.25))
    return out


# The waking day's outcomes and the morning after it, which stands in the next day's row.
def test_it_is_the_mean_of_normal_scores():
    table = _table()
    frame, used = table.frame, table.frame["usable"].to_numpy()
    names = ("day_mean", "variability", "biggest_rise")
    parts = [_scores(frame[name].to_numpy(), used) for name in names]
    night = np.append(_scores(frame["wake_glucose"].to_numpy(), used)[1:], NAN)
    night[20] = NAN  # a day is missing after it
    rows = [np.array([p[k] for p in (*parts, night)]) for k in range(len(used))]
    expected = [r[~np.isnan(r)].mean() if (~np.isnan(r)).sum() >= 2 else NAN for r in rows]
    made = with_whole_day(table, RULES)
    np.testing.assert_allclose(made.frame["whole_day"], expected, atol=1e-12)
    assert made.outcomes[-1] == "whole_day"
    assert with_whole_day(made, RULES) is made


def test_a_habit_that_moves_everything_is_found_in_the_whole():
    whole = ask_table(_table(), RULES, Question("late_dinner", "whole_day"))
    one = ask_table(_table(), RULES, Question("late_dinner", "variability"))
    assert (whole.unit, whole.evidence) == ("SD", Evidence.CLEAR)
    assert whole.p < one.p
    assert whole.relation == "same_day"


def test_the_search_does_not_look_at_it():
    question = Question("late_dinner", "whole_day")
    ranked = rank_table(_table(), RULES, RankingRequest(questions=[question]), run=Run(draws=99))
    assert [item.family for item in ranked.hypotheses if item.outcome == "whole_day"] == ["fixed"]
    bare = rank_table(_table(), RULES, run=Run(draws=99))
    assert ranked.hypotheses[1:] == tuple(
        replace(item, rank=item.rank + 1) for item in bare.hypotheses
    )
    assert "whole_day" not in {outcome.name for outcome in ranked.outcomes}


def test_an_unknown_outcome_is_told_the_whole_day_among_the_names():
    with pytest.raises(MinerError, match="no glucose measure 'hole_day'") as raised:
        ask_table(_table(), RULES, Question("late_dinner", "hole_day"))
    assert "whole_day" in raised.value.expected
    assert "'whole_day'" in raised.value.do


def test_its_days_are_shown():
    id_ = ask_table(_table(), RULES, Question("late_dinner", "whole_day")).id
    found = why_table(_table(), RULES, id_, "client")
    assert found.outcome == "whole_day"
    assert sum(unit.used for unit in found.units) == 43


# Lower is worse: it counts the other way round.
def test_the_worse_side_is_up():
    lower = RULES.outcomes["day_mean"].model_copy(update={"worse": "lower"})
    rules = RULES.model_copy(update={"outcomes": {**RULES.outcomes, "day_mean": lower}})
    table = day_table({"day_mean": np.arange(12.0)}, {})
    up, down = (with_whole_day(table, r).frame["whole_day"].to_numpy() for r in (RULES, rules))
    np.testing.assert_allclose(up, -down)
    assert up[-1] > 0


@pytest.mark.parametrize(
    "table", [meal_table(10), day_table({"day_mean": [], "wake_glucose": []}, {})]
)
def test_meals_have_none_and_no_day_has_none(table):
    made = with_whole_day(table, RULES)
    assert ("whole_day" in made.outcomes) == (table.unit == "day")
