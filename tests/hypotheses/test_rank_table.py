import json
from dataclasses import replace

import numpy as np
import pytest
from small_tables import (
    NAN,
    RULES,
    day_table,
    meal_rules,
    meal_table,
    random_table,
    with_factor,
    with_guard,
)  # fmt: skip

from benchmarks.calibration.worlds import WORLDS, month
from miner.core.period import Period
from miner.core.results import Evidence, plain
from miner.hypotheses.design import Question, Run, design
from miner.hypotheses.rank import RankingRequest, rank_table
from miner.hypotheses.search import search
from miner.stats.power import AtHand, power_on_new_units

OUTCOMES = ("minutes_above", "wake_glucose", "day_mean")


def _table(seed=1, **options):
    options = {"days": 36, "factors": 7, "outcomes": OUTCOMES, "shift": 2.0} | options
    return random_table(seed, **options)


def _json(found):
    return json.dumps(
        [plain(item) for item in (*found.hypotheses, *found.outcomes)]
        + [found.hints_by_chance, found.questions_asked]
    )


# Same table, same seed: the same answer to the byte, and nothing in the table is changed.
def test_the_same_table_gives_the_same_answer_to_the_byte():
    table = _table()
    before = table.frame.copy(deep=True)
    first = _json(rank_table(table, RULES, run=Run(draws=200)))
    cache = {}
    for _ in range(2):
        assert _json(rank_table(table, RULES, run=Run(draws=200, spectra=cache))) == first
    assert _json(rank_table(_table(), RULES, run=Run(draws=200))) == first
    assert _json(rank_table(table, RULES, run=Run(draws=200, seed=1))) != first
    assert table.frame.equals(before)


# The order of the columns: the same numbers for every rule.
def test_the_order_of_factors_and_outcomes_does_not_matter():
    table = _table()
    turned = replace(table, factors=table.factors[::-1], outcomes=table.outcomes[::-1])
    first = rank_table(table, RULES, run=Run(draws=200))
    second = rank_table(turned, RULES, run=Run(draws=200))
    rows = [
        {(frozenset(item.factors), item.outcome): item for item in found.hypotheses}
        for found in (first, second)
    ]
    assert rows[0].keys() == rows[1].keys()
    for key, item in rows[0].items():
        other = rows[1][key]
        assert (item.counts, item.evidence, item.id) == (other.counts, other.evidence, other.id)
        for name in ("p", "p_adjusted", "difference", "standard_error"):
            assert getattr(item, name) == pytest.approx(getattr(other, name), rel=1e-9, abs=1e-9)
        assert set(item.travels_with) == set(other.travels_with)


# A table is in time order (its own contract), so a day table is read the same whatever came first
# in the files; the units' order also decides what a shuffle is.
def test_every_rule_for_every_outcome_it_may_meet_is_told_once():
    found = rank_table(_table(), RULES, run=Run(draws=100))
    singles = [
        (item.factors[0], item.outcome) for item in found.hypotheses if len(item.factors) == 1
    ]
    plan = design(_table(), RULES)
    expected = {(item.factor, target.name) for target in plan.targets for item in target.items}
    assert len(singles) == len(set(singles))
    assert set(singles) == expected


# Contract, section 5: fewest usable days to rank 20; of meals 40.
@pytest.mark.parametrize(("days", "enough"), [(19, False), (20, True)])
def test_one_day_below_the_fewest_there_is_no_ranking(days, enough):
    table = day_table(
        {"day_mean": 100 + np.random.default_rng(0).normal(0, 5, days)},
        {"tag:a": np.tile([1.0, 0.0], 10)[:days]},
    )
    found = rank_table(table, RULES, run=Run(draws=100))
    assert (found.enough, found.usable_units, found.need_units) == (enough, days, 20)
    assert bool(found.hypotheses) == enough
    if not enough:
        assert (found.primary_outcome, found.hints_by_chance, found.questions_asked) == (
            None, None, 0,
        )  # fmt: skip


def test_one_meal_below_the_fewest_there_is_no_ranking():
    found = rank_table(meal_table(13, per_day=3), meal_rules(), run=Run(draws=100))
    assert (found.enough, found.usable_units, found.need_units) == (False, 39, 40)
    assert rank_table(meal_table(14, per_day=3), meal_rules(), run=Run(draws=100)).enough


def test_days_outside_the_dates_asked_for_are_not_ranked():
    table = _table(days=60)
    found = rank_table(
        table,
        RULES,
        RankingRequest(period=Period(first="2026-03-10", last="2026-04-20")),
        run=Run(draws=100),
    )
    inside = table.frame[table.frame["date"].between("2026-03-10", "2026-04-20")]
    assert found.usable_units == inside["usable"].sum()
    assert found.left_out_units == (~inside["usable"]).sum()
    assert not rank_table(table, RULES, RankingRequest(period=Period(first="2030-01-01"))).enough


# Contract, section 4: the default primary outcome.
@pytest.mark.parametrize(
    ("none_above", "names", "primary"),
    [
        (0, ("wake_glucose", "day_mean", "minutes_above"), "minutes_above"),
        (15, ("wake_glucose", "day_mean", "minutes_above"), "minutes_above"),
        (16, ("wake_glucose", "day_mean", "minutes_above"), "day_mean"),
        (30, ("wake_glucose", "minutes_above"), "wake_glucose"),
        (0, ("wake_glucose", "overnight_mean"), "wake_glucose"),
        (0, ("wake_glucose", "day_mean"), "day_mean"),
    ],
)
def test_the_default_primary_outcome(none_above, names, primary):
    values = np.random.default_rng(0).uniform(10, 90, 34)
    values[:none_above] = 0
    values[30:] = NAN
    table = day_table(dict.fromkeys(names, values), {})
    assert design(table, RULES).default_primary == primary


def test_the_default_primary_outcome_of_meals():
    plan = design(meal_table(5), meal_rules())
    assert plan.default_primary == "rise"
    assert replace(plan, targets=(replace(plan.targets[0], name="peak"),)).default_primary == "peak"


def test_families_are_named_by_the_primary_outcome():
    found = rank_table(_table(), RULES, RankingRequest(primary="wake_glucose"), run=Run(draws=100))
    assert found.primary_outcome == "wake_glucose"
    for item in found.hypotheses:
        assert (item.family == "primary") == (item.outcome == "wake_glucose")


def test_progress_is_told_and_ends_at_the_whole():
    told = []
    rank_table(
        _table(), RULES, run=Run(draws=600, progress=lambda name, share: told.append((name, share)))
    )
    assert {name for name, _ in told} == {"primary", "search"}
    assert all(0 < share <= 1 for _, share in told)
    assert told[-1][1] == 1.0


# Habits and outcomes of one day may run either way whatever the rule book says; what comes before
# only where it says so.
def test_a_factor_that_could_come_of_the_outcome_says_so():
    item = rank_table(
        _table(), with_factor("late_dinner", could_run_backwards=False), run=Run(draws=100)
    ).hypotheses
    for found in item:
        expected = any(
            name != "late_dinner" and RULES.factor(name).could_run_backwards
            for name in found.factors
        )
        assert found.could_run_backwards == (expected or found.relation == "same_day")
    assert {found.could_run_backwards for found in item} == {True, False}


# ---- tables at the edge


def _noise(n=30, seed=0):
    return 100 + np.random.default_rng(seed).normal(0, 5, n)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize(
    "factors",
    [
        {},
        {"tag:a": np.zeros(30)},
        {"tag:a": np.ones(30)},
        {"tag:a": np.full(30, NAN)},
        {"tag:a": np.ones(30), "tag:b": np.zeros(30), "tag:c": np.full(30, NAN)},
    ],
    ids=["no factor", "never", "always", "unknown", "one of each"],
)
def test_factors_in_which_nothing_can_be_seen(factors):
    found = rank_table(day_table({"day_mean": _noise()}, factors), RULES, run=Run(draws=100))
    assert found.enough
    assert found.questions_asked == 0
    assert found.hints_by_chance == 0
    assert len(found.hypotheses) == len(factors)
    for item in found.hypotheses:
        assert item.evidence is Evidence.CANNOT_TELL
        assert item.withheld is not None
        assert item.p is item.days_to_settle is item.expected_on_new_days is None


@pytest.mark.filterwarnings("error")
def test_outcomes_in_which_nothing_can_be_seen_leave_the_level_to_the_others():
    one = np.tile([1.0, 0, 0], 10)
    outcomes = {
        "day_mean": _noise(),
        "wake_glucose": np.full(30, 90.0),
        "variability": np.full(30, NAN),
    }
    found = rank_table(
        day_table(outcomes, {"tag:a": one}),
        RULES,
        RankingRequest(primary="wake_glucose"),
        run=Run(draws=999),
    )
    alone = rank_table(day_table({"day_mean": _noise()}, {"tag:a": one}), RULES, run=Run(draws=999))
    by_outcome = {item.outcome: item for item in found.hypotheses}
    assert by_outcome["day_mean"].p_adjusted == alone.hypotheses[0].p_adjusted
    assert (
        str(by_outcome["wake_glucose"].withheld.reason) == "more than half the values are the same"
    )
    assert by_outcome["variability"].withheld is not None
    summaries = {item.name: item for item in found.outcomes}
    assert summaries["variability"].units == 0


def test_an_outcome_known_on_too_few_days_to_be_fitted_is_withheld():
    outcome = _noise()
    outcome[4:] = NAN
    rules = with_guard(fewest_units_each_side=2, fewest_share_each_side=0.0,
                       fewest_distinct_days_each_side=2)  # fmt: skip
    table = day_table({"day_mean": outcome}, {"tag:a": np.tile([1.0, 0, 0], 10)})
    item = rank_table(table, rules, run=Run(draws=100)).hypotheses[0]
    assert str(item.withheld.reason) in (
        "we know it on too few days",
        "it came on too few days",
    )
    table.frame["tag:a"] = np.tile([1.0, 0.0], 15)
    item = rank_table(table, rules, run=Run(draws=100)).hypotheses[0]
    assert str(item.withheld.reason) == "we know it on too few days"


# The rule book's keys at the ends of what it allows.
@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize(
    "changes",
    [
        {"fewest_units_each_side": 2, "fewest_share_each_side": 0.0,
         "fewest_distinct_days_each_side": 2},
        {"fewest_share_each_side": 0.49}, {"largest_rule": 1}, {"units_for_rules_of_three": 1},
        {"claim_level": 0.2, "hint_level": 0.2}, {"claim_level": 1e-6}, {"primary_share": 0.999},
        {"primary_share": 0.001}, {"sets_share": 0.999}, {"overlap_not_told_apart": 1.0},
        {"overlap_not_told_apart": 1e-9, "overlap_travels_with": 1e-9},
        {"least_variation_kept": 0.999}, {"least_variation_kept": 1e-9},
        {"largest_share_tied": 1e-9}, {"largest_share_tied": 1.0}, {"sensor_level_from_days": 2},
        {"shrink_when_one_unit_left_out": 1e-9}, {"shrink_when_one_unit_left_out": 0.999},
        {"fewest_days_to_rank": 5},
    ],
    ids=str,
)  # fmt: skip
def test_guardrails_at_their_bounds(changes):
    rules = with_guard(**changes)
    found = rank_table(_table(), rules, run=Run(draws=100))
    assert found.enough
    for item in found.hypotheses:
        if item.p is not None:
            assert 0 <= item.p <= 1
            assert 0 < item.p_adjusted <= 1
            assert item.interval[0] <= item.difference <= item.interval[1]
        if item.evidence is Evidence.CLEAR:
            assert item.p_adjusted <= rules.guardrails.claim_level
            assert item.withheld is None
    json.loads(_json(found))


# ---- meals


# Method, section 1: meals of one day are not so many witnesses; the engine is the same.
def test_a_true_effect_by_meal_is_found_and_its_days_are_counted():
    found = rank_table(meal_table(30, effect=15.0), meal_rules(), run=Run(draws=499))
    item = found.hypotheses[0]
    assert (found.unit, item.factors, item.evidence) == ("meal", ("walk_after",), Evidence.CLEAR)
    assert item.interval[0] > 0
    assert item.interval[0] < 15 < item.interval[1]


# 90 meals of 30 days: what is told are days, of three meals each.
def test_days_to_settle_of_meals_are_days():
    found = rank_table(meal_table(30, day_sd=2.0), meal_rules(), run=Run(draws=100))
    checked = 0
    for item in found.hypotheses:
        if item.days_to_settle:
            counts, rank = item.counts, 89 - item.degrees_of_freedom
            hand = AtHand(item.t_at_worth, 90, rank, counts.with_, counts.without)
            days = item.days_to_settle
            power = [power_on_new_units(hand, 3 * d, 0.05, 5) for d in (days, days - 1)]
            assert power[0] >= 0.8 > power[1]
            checked += 1
    assert checked >= 2


def test_a_factor_of_the_day_is_no_surer_for_having_many_meals():
    errors = []
    for per_day in (2, 4):
        table = meal_table(30, per_day=per_day, day_sd=3.0, seed=4)
        found = rank_table(table, meal_rules(), run=Run(draws=100)).hypotheses
        by_factor = {
            item.factors[0]: item.standard_error for item in found if len(item.factors) == 1
        }
        errors.append(by_factor)
    assert errors[1]["after_short_sleep"] > 0.75 * errors[0]["after_short_sleep"]
    assert errors[1]["walk_after"] < 0.85 * errors[0]["walk_after"]


def test_a_fixed_question_is_asked_once_and_not_in_the_search_too():
    drawn = month(WORLDS["independent"], RULES, days=40, factors=6, seed=11)
    plain = rank_table(drawn.table, RULES, run=Run(draws=199))
    asked = rank_table(
        drawn.table,
        RULES,
        RankingRequest(questions=[Question("late_dinner", "minutes_above")]),
        run=Run(draws=199),
    )
    assert asked.questions_asked == plain.questions_asked
    mine = [
        item
        for item in asked.hypotheses
        if item.factors == ("late_dinner",) and item.outcome == "minutes_above"
    ]
    assert [item.family for item in mine] == ["fixed"]


def test_with_too_few_draws_to_tell_an_interval_has_no_end():
    # p can be as small as 1 / (B + 1); the level of sets here is 0.05 x 0.5 x 0.1 = 1 / 400
    drawn = month(WORLDS["independent"], RULES, days=40, factors=6, seed=11)
    found = search(design(drawn.table, RULES), "minutes_above", Run(99))
    sets = [test for test in found.tests if len(test.rule.items) > 1]
    assert sets
    assert all(test.interval == (-np.inf, np.inf) for test in sets)


def test_which_outcomes_cannot_be_ranked_and_why_stands_in_the_result():
    outcomes = {
        "day_mean": np.full(30, 100.0),
        "minutes_above": np.repeat([0.0, 30.0], [16, 14]),
        "variability": np.full(30, NAN),
    }
    found = rank_table(
        day_table(outcomes, {"tag:a": np.tile([1.0, 0, 0], 10)}), RULES, run=Run(draws=200)
    )
    closed = {item.name: item.withheld for item in found.outcomes}
    assert str(closed["variability"].reason) == "we know it on too few days"
    # 16 of 30 values are 0: 53 %, more than the half the guard allows
    assert str(closed["minutes_above"].reason) == "more than half the values are the same"
    assert closed["minutes_above"].have == pytest.approx(16 / 30)
    assert closed["day_mean"].have == 1.0
    whole = rank_table(
        day_table({"day_mean": _noise()}, {"tag:a": outcomes["day_mean"] > 0}), RULES
    )
    assert [item.withheld for item in whole.outcomes] == [None]
