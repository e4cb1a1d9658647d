from dataclasses import replace
from math import sqrt

import naive
import numpy as np
import pytest
from naive import posterior_mean
from scipy.stats import norm
from scipy.stats import t as student
from small_tables import NAN, RULES, day_table, random_table, with_factor, with_guard
from statsmodels.stats.proportion import confint_proportions_2indep

from benchmarks.calibration.worlds import WORLDS, month
from miner.core.period import Period
from miner.core.results import Evidence
from miner.hypotheses.describe import hints_by_chance, missing_more_often
from miner.hypotheses.design import Question, Run, design, identity, identity_in_rules
from miner.hypotheses.rank import RankingRequest, rank_table
from miner.hypotheses.search import search
from miner.stats.maxt import shuffles
from miner.stats.power import AtHand, power_on_new_units

# ---- the name of a hypothesis


def _items(table, rules=RULES, outcome="wake_glucose"):
    target = design(table, rules).target(outcome)
    return {item.factor: item for item in target.items}, target


def _id(factors, table, rules=RULES, outcome="wake_glucose"):
    items, target = _items(table, rules, outcome)
    return identity([items[name] for name in factors], outcome, target.rule)


def _month(days=30, **options):
    return random_table(3, days=days, factors=6, outcomes=("wake_glucose", "day_mean"), **options)


# Contract, section 4: a hash of factors, lags, outcome and their definitions, unchanged as
# records grow.
def test_the_name_stays_as_records_grow():
    short, long = _month(25), _month(60)
    found = {
        (item.factors, item.outcome): item.id
        for item in rank_table(short, RULES, run=Run(draws=100)).hypotheses
    }
    for item in rank_table(long, RULES, run=Run(draws=100)).hypotheses:
        if len(item.factors) == 1:
            assert found[item.factors, item.outcome] == item.id
    assert len(set(found.values())) == len(found)


@pytest.mark.parametrize(
    ("changes", "same"),
    [
        ({"at": 22.0}, False), ({"cut": "present"}, False), ({"clock": "18:00 to 24:00"}, False),
        ({"lag": {"wake": 2}}, False), ({"measure": "other"}, False),
        ({"phrase": "a late supper"}, True), ({"confounders": ()}, True), ({"source": "x"}, True),
    ],
)  # fmt: skip
def test_the_name_changes_when_a_definition_does_and_only_then(changes, same):
    table = _month()
    other = with_factor("late_dinner", **changes)
    before, after = _id(["late_dinner"], table), _id(["late_dinner"], table, other)
    assert (before == after) == same
    assert _id(["short_sleep"], table) == _id(["short_sleep"], table, other)


def test_the_name_depends_on_the_outcomes_definition():
    table = _month()
    outcomes = dict(RULES.outcomes)
    outcomes["wake_glucose"] = outcomes["wake_glucose"].model_copy(update={"coverage": 0.9})
    other = RULES.model_copy(update={"outcomes": outcomes})
    assert _id(["late_dinner"], table) != _id(["late_dinner"], table, other)
    worth = outcomes["wake_glucose"].model_copy(update={"coverage": 0.7, "smallest_worth_it": 9})
    other = RULES.model_copy(update={"outcomes": {**outcomes, "wake_glucose": worth}})
    assert _id(["late_dinner"], table) == _id(["late_dinner"], table, other)


def test_the_order_of_the_factors_of_a_set_is_no_part_of_its_name():
    table = _month()
    names = ["late_dinner", "short_sleep"]
    assert _id(names, table) == _id(names[::-1], table)
    assert _id(names, table) != _id(names[:1], table)
    assert len(_id(names, table)) == 8
    assert set(_id(names, table)) <= set("0123456789abcdef")


# ---- further days


# Contract, section 4: days_to_settle, days until 80 % power at smallest_worth_it; on new days.
def test_days_to_settle_gives_the_power_it_promises_and_no_sooner():
    table = random_table(2, days=40, factors=7, outcomes=("day_mean",), world="independent")
    checked = 0
    usable = table.frame[table.frame["usable"]]
    span = usable["day_number"].iloc[-1] - usable["day_number"].iloc[0] + 1
    for item in rank_table(table, RULES, run=Run(draws=100)).hypotheses:
        if item.evidence in (Evidence.CLEAR, Evidence.LITTLE_SIGN) or item.withheld:
            assert item.days_to_settle is None
            continue
        counts = item.counts
        units = counts.known + counts.unknown
        rank = units - 1 - item.degrees_of_freedom
        hand = AtHand(item.t_at_worth, units, rank, counts.with_, counts.without)
        a_day = units / span
        if item.days_to_settle is None:
            assert power_on_new_units(hand, int(366 * a_day), 0.05, 5) < 0.8
            continue
        enough, before = item.days_to_settle * a_day, (item.days_to_settle - 1) * a_day
        assert power_on_new_units(hand, int(enough), 0.05, 5) >= 0.8
        assert power_on_new_units(hand, int(before), 0.05, 5) < 0.8
        checked += 1
    assert checked >= 3


def test_no_number_of_days_is_told_beyond_what_anyone_would_wait():
    n = 30
    rng = np.random.default_rng(3)
    table = day_table({"day_mean": 100 + rng.normal(0, 60, n)}, {"tag:a": np.tile([1, 0, 0], 10)})
    assert rank_table(table, RULES, run=Run(draws=100)).hypotheses[0].days_to_settle is None


# ---- how many hints by chance


# In months in which nothing is true, counted: single-factor rules with p at or below 0.05 and a
# difference worth it. 30 days, where p decides, and 60, where the size does.
@pytest.mark.parametrize(("days", "months"), [(30, 100), (60, 80)])
def test_hints_by_chance_is_what_chance_gives(days, months):
    outcomes = ("day_mean", "minutes_above")
    foretold, seen = [], []
    for seed in range(months):
        table = month(
            WORLDS["independent"], RULES, days=days, factors=8, seed=5000 + seed, outcomes=outcomes
        ).table
        rules = with_guard(largest_rule=1)
        found = search(design(table, rules), "day_mean", Run(2))
        foretold.append(hints_by_chance(found.tests, rules.guardrails.hint_level))
        seen.append(
            sum(
                test.p <= 0.05 and abs(test.difference) >= test.target.rule.smallest_worth_it
                for test in found.tests
            )
        )
    error = np.std(np.array(seen) - foretold) / sqrt(months)
    assert 0 < np.mean(foretold) < 2
    assert abs(np.mean(seen) - np.mean(foretold)) < 3 * error


# ---- how much is clear by chance


# Boole's inequality: the chance that one of two families errs is at most the sum of their levels.
def test_clear_by_chance_counts_the_search_and_the_fixed_questions_that_may_be_clear():
    asked = [Question(f"tag:{letter}", "day_mean") for letter in "ab"]
    doubted = [replace(one, doubt="looked before") for one in asked]

    def ranked(seed, questions, **choices):
        rng = np.random.default_rng(900 + seed)
        habits = {f"tag:{letter}": rng.random(30) < 0.4 for letter in "abcd"}
        table = day_table({"day_mean": 100 + rng.normal(0, 9, 30)}, habits)
        rules = with_guard(claim_level=0.4, largest_rule=1)
        return rank_table(
            table, rules, RankingRequest(questions=questions, **choices), Run(99, seed)
        )

    assert ranked(0, []).clear_by_chance == 0.4
    assert ranked(0, doubted).clear_by_chance == 0.4
    assert ranked(0, asked).clear_by_chance == 0.8
    assert ranked(0, asked, share=0.5).clear_by_chance == pytest.approx(0.6)
    assert ranked(0, asked, share=0.5, second_look=True).clear_by_chance == 0.2
    assert ranked(0, asked, second_look=True).clear_by_chance == 0.4
    late = [replace(one, fixed_on="2099-01-01") for one in asked]
    assert ranked(0, late).clear_by_chance == 0.4
    few = with_guard(fewest_days_to_rank=31)
    short = day_table({"day_mean": np.arange(30.0)}, {"tag:a": np.tile([1, 0], 15)})
    assert rank_table(short, few, run=Run(draws=9)).clear_by_chance == 0
    # months in which nothing is true, at a level at which few of them tell
    months = [ranked(seed, asked).hypotheses for seed in range(60)]
    clear = [{item.family for item in own if item.evidence is Evidence.CLEAR} for own in months]
    assert any("fixed" in own for own in clear)
    assert np.mean([bool(own) for own in clear]) < 0.8


# ---- missing more often


def _with_missing(with_gone, without_gone, *, days=60):
    factor = np.tile([1.0, 0.0], days // 2)
    outcome = 100 + np.random.default_rng(0).normal(0, 5, days)
    outcome[np.flatnonzero(factor == 1)[:with_gone]] = NAN
    outcome[np.flatnonzero(factor == 0)[:without_gone]] = NAN
    return day_table({"day_mean": outcome}, {"late_dinner": factor})


# Newcombe's interval of the difference of two proportions (statsmodels).
@pytest.mark.parametrize(
    ("with_gone", "without_gone"), [(0, 0), (3, 1), (8, 1), (9, 2), (1, 8), (6, 1), (5, 0)]
)
def test_the_outcome_is_missing_more_often_by_newcombes_interval(with_gone, without_gone):
    table = _with_missing(with_gone, without_gone)
    items, _ = _items(table, outcome="day_mean")
    found = missing_more_often(table, [items["late_dinner"]], "day_mean", np.full(60, True))
    low, high = confint_proportions_2indep(with_gone, 30, without_gone, 30, method="newcomb")
    if low <= 0 <= high:
        assert found == ()
    else:
        assert tuple(map(str, found)) == (
            f"Glucose is missing on {with_gone} of 30 days with it and on {without_gone} of 30 "
            "without it.",
        )


def test_a_day_left_out_counts_as_missing_and_a_factor_always_there_compares_nothing():
    table = _with_missing(0, 0)
    table.frame.loc[table.frame.index[np.arange(0, 24, 2)], "usable"] = False
    items, _ = _items(table, outcome="day_mean")
    (note,) = missing_more_often(table, [items["late_dinner"]], "day_mean", np.full(60, True))
    assert str(note) == "Glucose is missing on 12 of 30 days with it and on 0 of 30 without it."
    table.frame["late_dinner"] = 1.0
    assert missing_more_often(table, [items["late_dinner"]], "day_mean", np.full(60, True)) == ()


def test_a_hint_or_a_claim_tells_that_its_outcome_is_missing_more_often():
    table = _with_missing(9, 1, days=60)
    frame = table.frame.assign(day_mean=table.frame["day_mean"] + 16 * table.frame["late_dinner"])
    item = rank_table(replace(table, frame=frame), RULES, run=Run(draws=199)).hypotheses[0]
    assert item.evidence in (Evidence.CLEAR, Evidence.HINT)
    assert any(str(note).startswith("Glucose is missing on 9 of 30 days") for note in item.notes)


def test_only_the_days_asked_about_count_as_missing():
    table = _with_missing(9, 1, days=60)
    frame = table.frame.assign(day_mean=table.frame["day_mean"] + 16 * table.frame["late_dinner"])
    dates = list(frame["date"])
    asked = (
        RankingRequest(period=Period(dates[20])),
        RankingRequest(questions=[_fixed(dates[19])]),
    )
    for wanted in asked:
        found = rank_table(replace(table, frame=frame), RULES, wanted, Run(199))
        item = next(h for h in found.hypotheses if h.outcome == "day_mean")
        assert item.evidence in (Evidence.CLEAR, Evidence.HINT)
        assert not any(str(note).startswith("Glucose is missing") for note in item.notes)


def _fixed(day):
    return Question("late_dinner", "day_mean", fixed_on=day, proven=True)


# ---- order, shrinkage, outcomes


# Method, step 11: p_adjusted, then the bound of the interval nearer to zero, then the shorter rule.
def test_hypotheses_come_in_order():
    table = random_table(
        3, days=40, factors=6, outcomes=("day_mean", "minutes_above"), world="independent",
        shift=1.0, both=26.0,
    )  # fmt: skip
    # the interval of a rare habit allows for more than its order does
    alike = RULES.guardrails.model_copy(update={"unbalanced_share": 0.0})
    items = rank_table(
        table, RULES.model_copy(update={"guardrails": alike}), run=Run(draws=499)
    ).hypotheses
    assert [item.rank for item in items] == list(range(1, len(items) + 1))
    open_items = [item for item in items if item.withheld is None]
    keys = []
    for item in open_items:
        near = min(abs(bound) for bound in item.interval)
        near = near if item.interval[0] * item.interval[1] > 0 else -near
        keys.append((item.p_adjusted, -near / item.standard_error))
    assert [key[0] for key in keys] == sorted(key[0] for key in keys)
    assert all(item.withheld for item in items[len(open_items) :])
    one = [key for key, item in zip(keys, open_items, strict=True) if key[0] == 1.0]
    assert len(one) > 3
    assert [key[1] for key in one] == pytest.approx(sorted(key[1] for key in one))


# Bayes' rule on a grid: spread found across clients, who all count, in place of the rule book's,
# of the few habits that matter.
def test_the_spread_across_clients_replaces_the_rule_books():
    table = random_table(1, days=90, factors=3, outcomes=("day_mean",), shift=1.5)
    usual = rank_table(table, RULES, run=Run(draws=199)).hypotheses[0]
    assert (usual.factors, usual.evidence) == (("late_dinner",), Evidence.CLEAR)

    def ranked(spread):
        spreads = {("late_dinner", "day_mean"): spread}
        return rank_table(
            table, RULES, RankingRequest(spreads=spreads), run=Run(draws=199)
        ).hypotheses[0]

    def mean(tau, share):
        se, df = usual.standard_error, usual.degrees_of_freedom
        return posterior_mean(usual.difference, se, tau, df, share)

    assert usual.expected_on_new_days == pytest.approx(mean(5, RULES.guardrails.share_that_matters))
    assert ranked(4.0).expected_on_new_days == pytest.approx(mean(4, 1.0))
    # where true differences spread by less than the errors do the number would be the rule book's
    assert ranked(0.5).expected_on_new_days is None
    assert replace(ranked(4.0), expected_on_new_days=usual.expected_on_new_days) == usual


# A claim of which less is expected than is worth acting on comes after all others; so does one
# whose difference is less by itself. Nothing is expected beside a hint.
def test_a_small_claim_comes_last():
    n = 200
    rng = np.random.default_rng(12)
    factors = {f"tag:{k}": rng.permutation(np.repeat([1.0, 0.0], n // 2)) for k in range(3)}
    outcome = 100 + rng.normal(0, 1, n) + 2.5 * factors["tag:0"] + 1.0 * factors["tag:1"]
    outcome += 6.0 * factors["tag:2"] * (rng.random(n) < 0.99)
    other = 20 + rng.normal(0, 3, n) + 4.5 * factors["tag:2"]
    table = day_table({"day_mean": outcome, "variability": other}, factors)
    found = rank_table(table, RULES, run=Run(draws=199)).hypotheses
    singles = [item for item in found if len(item.factors) == 1]
    clear = [item for item in singles if item.evidence is Evidence.CLEAR]
    assert [item.small for item in clear] == sorted(item.small for item in clear)
    assert {item.factors for item in clear if item.small} == {("tag:0",), ("tag:1",)}
    assert {item.factors for item in clear if not item.small} == {("tag:2",)}
    assert all(not item.small for item in singles if item.evidence is not Evidence.CLEAR)
    for item in clear:
        assert abs(item.expected_on_new_days) < abs(item.difference)
    spreads = {("tag:0", "day_mean"): 0.01}
    told = rank_table(table, RULES, RankingRequest(spreads=spreads), run=Run(draws=199)).hypotheses
    item = next(one for one in told if one.factors == ("tag:0",) and one.outcome == "day_mean")
    assert (item.expected_on_new_days, item.small) == (None, True)


# A question fixed alone is no exception.
def test_small_fixed_questions_come_after_the_others():
    n = 120
    rng = np.random.default_rng(3)
    factors = {f"tag:{k}": rng.permutation(np.repeat([1.0, 0.0], n // 2)) for k in range(2)}
    outcome = 100 + rng.normal(0, 1, n) + 2.5 * factors["tag:0"] + 9.0 * factors["tag:1"]
    table = day_table({"day_mean": outcome}, factors)
    asked = [Question("tag:0", "day_mean"), Question("tag:1", "day_mean")]
    found = rank_table(table, RULES, RankingRequest(questions=asked), run=Run(draws=100)).hypotheses
    assert [(item.factors, item.small) for item in found[:2]] == [
        (("tag:1",), False),
        (("tag:0",), True),
    ]


# detectable: over the habits, the average chance that the t on normal scores (the naive ranking's)
# and the size both pass the bound of the search, which is what intervals span, is 87 in 100, of
# which doubts leave some 80 (benchmarks/promises);
# usual variation: the SD of a day after nuisance, here that of least squares.
def test_what_is_told_of_an_outcome():
    n = 48
    rng = np.random.default_rng(5)
    outcomes = {"day_mean": 100 + rng.normal(0, 8, n), "overnight_mean": np.full(n, 99.0)}
    factors = {f"tag:{k}": rng.permutation(np.repeat([1.0, 0.0], [16, 32])) for k in range(3)}
    table = day_table(outcomes, factors)
    found = rank_table(table, RULES, run=Run(draws=100))
    day, night = found.outcomes
    assert (day.name, day.unit, day.smallest_worth_it, day.units) == ("day_mean", "mg/dL", 5, n)
    first = next(item for item in found.hypotheses if item.p is not None)
    reach = (first.interval[1] - first.difference) / first.standard_error
    assert reach > student.ppf(0.975, n - 4)
    answers, _ = naive.rank(table, RULES, "day_mean", shuffles(n, 100, 0))
    chances = []
    for (names, outcome), answer in answers.items():
        if outcome == "day_mean" and len(names) == 1:
            part, rule, _ = answer["rule"]
            t = min(naive.t_of(part, rule, day.detectable), day.detectable / rule["se"])
            chances.append(norm.cdf((t - reach) / 1.2))
    assert len(chances) == 3
    assert np.mean(chances) == pytest.approx(0.8 + 55 / n**2, abs=0.01)
    weekend = np.array([at % 7 in (5, 6) for at in range(n)], float)
    X = np.column_stack([np.ones(n), weekend, np.arange(n)])
    rest = outcomes["day_mean"] - X @ np.linalg.lstsq(X, outcomes["day_mean"], rcond=None)[0]
    assert day.ordinary_wobble == pytest.approx(sqrt(rest @ rest / (n - 3)), rel=0.05)
    assert (night.detectable, night.ordinary_wobble, night.units) == (None, None, n)


def test_the_id_that_the_rule_books_give_is_that_of_the_ranking():
    rng = np.random.default_rng(5)
    habit = (rng.random(30) < 0.4).astype(float)
    table = day_table({"day_mean": 100 + rng.normal(0, 5, 30)}, {"short_sleep": habit})
    (item,) = rank_table(table, RULES, run=Run(draws=199)).hypotheses
    assert identity_in_rules("short_sleep", "day_mean", "day", RULES) == item.id
