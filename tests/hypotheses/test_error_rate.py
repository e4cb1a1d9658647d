import numpy as np
import pytest
from scipy.stats import binomtest, spearmanr
from small_tables import (
    NAN,
    RULES,
    day_table,
    meal_rules,
    meal_table,
    random_table,
    with_guard,
)

from miner.core.results import Evidence
from miner.hypotheses.design import Run
from miner.hypotheses.error_rate import SHIFTS, _Job, claims, error_rate, model, weeks_of, world
from miner.hypotheses.rank import RankingRequest, rank_table


def _table(days=30, effect=0.0):
    rng = np.random.default_rng(4)
    factors = {
        f"tag:{k}": rng.permutation(np.repeat([1.0, 0.0], [10, days - 10])) for k in range(3)
    }
    outcomes = {
        "day_mean": 100 + rng.normal(0, 5, days) + effect * factors["tag:0"],
        "wake_glucose": np.round(95 + rng.normal(0, 5, days)),
    }
    outcomes["wake_glucose"][[3, 8]] = NAN
    return day_table(outcomes, factors, usable=np.arange(days) != 5)


# The interval is Clopper and Pearson's (scipy); nothing true: the rate is that of the level.
def test_the_rate_of_any_claim_where_nothing_is_true():
    found = error_rate(_table(effect=20.0), RULES, "c", Run(draws=199, seed=1), worlds=60)
    assert (found.client, found.worlds, found.draws, found.seed) == ("c", 60, 199, 1)
    assert found.any_claim_rate == found.claimed / 60
    answer = binomtest(found.claimed, 60).proportion_ci(0.95)
    assert found.any_claim_interval == pytest.approx((answer.low, answer.high), abs=1e-9)
    assert found.any_claim_interval[0] <= found.nominal == 0.05
    assert found.finished
    assert found.usable_units == 29


# What the error rate counts is what a whole ranking calls clear.
def test_claims_are_those_of_a_ranking():
    table = _table(effect=20.0)
    job = _Job(model(table, RULES, "day_mean"), weeks_of(table), RULES, "day_mean", draws=199)
    for seed in range(3):
        ranked = rank_table(
            table, RULES, RankingRequest(primary="day_mean"), run=Run(draws=199, seed=seed)
        )
        clear = {
            (item.factors, item.outcome)
            for item in ranked.hypotheses
            if item.evidence is Evidence.CLEAR
        }
        assert claims(table, job, seed, {}) == clear
        assert (("tag:0",), "day_mean") in clear


# A true effect is gone where its habit is moved by whole weeks, unless the habit keeps to weekdays
# and so does glucose, and nothing is asked within weekdays.
def test_months_moved_by_whole_weeks_keep_the_week():
    days = 56
    rng = np.random.default_rng(2)
    weekly = np.isin(np.arange(days) % 7, (1, 3)).astype(float)
    other = rng.permutation(np.repeat([1.0, 0.0], days // 2))
    own = 100 + rng.normal(0, 3, days)
    lax = with_guard(weekdays_from_days=366)
    found = {}
    for name, habit in (("weekly", weekly), ("other", other)):
        table = day_table({"day_mean": own + 8 * habit}, {"tag:a": habit, "tag:b": other[::-1]})
        for guard, rules in (("shipped", RULES), ("lax", lax)):
            rate = error_rate(table, rules, "c", Run(draws=199), worlds=20)
            assert rate.moved == 20
            found[name, guard] = rate.moved_claimed
    assert found["weekly", "lax"] == 20
    assert found["weekly", "shipped"] <= 2
    assert found["other", "lax"] <= 4


# The larger the true effect, the more often it is found; two SD in 29 days nearly always.
def test_larger_effects_are_found_more_often():
    found = error_rate(_table(), RULES, "c", Run(draws=199), worlds=64, primary="day_mean")
    rates = [item.rate for item in found.found_rate_at]
    assert [item.worlds for item in found.found_rate_at] == [16] * 4
    shifts = np.array([item.shift for item in found.found_rate_at])
    np.testing.assert_allclose(shifts / shifts[0] * SHIFTS[0], SHIFTS)
    assert {item.unit for item in found.found_rate_at} == {"mg/dL"}
    assert spearmanr(shifts, rates).statistic > 0.7
    assert rates[-1] >= 0.8 > rates[0]
    assert (found.outcome, found.factor in ("tag:0", "tag:1", "tag:2")) == ("day_mean", True)
    assert all(item.found == round(item.rate * item.worlds) for item in found.found_rate_at)
    for item in found.found_rate_at:
        answer = binomtest(item.found, 16).proportion_ci(0.95)
        assert item.interval == pytest.approx((answer.low, answer.high), abs=1e-9)


def test_the_answer_does_not_depend_on_the_number_of_workers_and_progress_is_told():
    told = []
    one = error_rate(
        _table(),
        RULES,
        "c",
        Run(draws=100, progress=lambda _, share: told.append(share)),
        worlds=12,
    )
    assert one == error_rate(_table(), RULES, "c", Run(draws=100, workers=2), worlds=12)
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_an_interrupt_ends_early_and_says_so():
    def stop(words, share):
        raise KeyboardInterrupt

    found = error_rate(_table(), RULES, "c", Run(draws=100, progress=stop), worlds=30)
    assert not found.finished
    assert found.worlds == 10
    assert all(item.rate is None for item in found.found_rate_at)


def test_an_interrupt_before_the_first_months_leaves_no_rate(monkeypatch):
    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("miner.hypotheses.error_rate._batch", stop)
    found = error_rate(_table(), RULES, "c", Run(draws=100), worlds=30)
    assert (found.worlds, found.any_claim_rate, found.any_claim_interval) == (0, None, None)


@pytest.mark.parametrize(
    ("table", "rules"),
    [(_table(20), RULES), (meal_table(13, per_day=3), meal_rules())],
    ids=["19 days", "39 meals"],
)
def test_with_too_few_units_nothing_is_simulated(table, rules):
    found = error_rate(table, rules, "c", Run(draws=100), worlds=5)
    assert (found.worlds, found.any_claim_rate, found.found_rate_at) == (0, None, ())
    assert not rank_table(table, rules, run=Run(draws=100)).enough


def test_months_by_meal_are_simulated_too():
    found = error_rate(meal_table(14, per_day=3), meal_rules(), "c", Run(draws=100), worlds=4)
    assert found.worlds == 4
    assert found.outcome == "rise"


# No factor can be tested, or the outcome never changed: nothing true can be planted.
@pytest.mark.parametrize("case", ["no factor", "flat primary", "flat all"])
def test_without_a_rule_to_test_there_is_only_the_rate_of_claims(case):
    n = 30
    rng = np.random.default_rng(0)
    outcomes = {"day_mean": np.full(n, 100.0), "wake_glucose": rng.normal(95, 5, n)}
    factors = {"tag:a": np.tile([1.0, 0, 0], 10)}
    if case == "no factor":
        outcomes["day_mean"] = rng.normal(100, 5, n)
        factors["tag:a"] = np.zeros(n)
    if case == "flat all":
        outcomes["wake_glucose"] = np.full(n, 95.0)
    found = error_rate(
        day_table(outcomes, factors), RULES, "c", Run(draws=100), worlds=4, primary="day_mean"
    )
    assert (found.worlds, found.found_rate_at, found.factor) == (4, (), None)
    if case != "flat primary":
        assert found.claimed == 0


# A simulated month has the client's own days, gaps and values: only their order is new.
def test_a_month_has_the_clients_own_values_and_gaps():
    table = _table()
    fitted = model(table, RULES, "day_mean")
    drawn = world(fitted, np.random.default_rng(0))
    usable = table.frame["usable"].to_numpy()
    for name in table.outcomes:
        own = table.frame[name].to_numpy()[usable]
        new = drawn.frame[name].to_numpy()[usable]
        np.testing.assert_array_equal(np.isnan(own), np.isnan(new))
        np.testing.assert_array_equal(np.sort(own), np.sort(new))
        assert (own != new)[~np.isnan(own)].any()
        assert np.isnan(drawn.frame[name].to_numpy()[~usable]).all()
    factors = list(table.factors)
    assert drawn.frame[factors].equals(table.frame[factors])
    assert drawn.by_clock.equals(drawn.frame[list(table.outcomes)])


def test_the_true_effect_is_added_where_the_factor_was():
    table = _table()
    fitted = model(table, RULES, "day_mean")
    factor, outcome, column = fitted.cause
    plain = world(fitted, np.random.default_rng(7)).frame
    shifted = world(fitted, np.random.default_rng(7), shift=12.0).frame
    usable = table.frame["usable"].to_numpy()
    gap = (shifted[outcome] - plain[outcome]).to_numpy()[usable]
    np.testing.assert_allclose(gap, 12.0 * column)
    np.testing.assert_array_equal(column, table.frame[factor].to_numpy()[usable])
    assert shifted["wake_glucose"].equals(plain["wake_glucose"])


# Nothing is true any more: over many months a habit that moved the outcome moves it no longer,
# while the weekend still does.
def test_what_was_true_of_the_client_is_not_true_of_the_months():
    n = 56
    rng = np.random.default_rng(1)
    habit = rng.permutation(np.repeat([1.0, 0.0], n // 2))
    weekend = np.array([day % 7 in (5, 6) for day in range(n)])
    outcome = 100 + rng.normal(0, 2, n) + 12 * habit + 12 * weekend
    table = day_table({"day_mean": outcome}, {"tag:a": habit})
    fitted = model(table, RULES, "day_mean")
    gaps = []
    for seed in range(150):
        y = world(fitted, np.random.default_rng(seed)).frame["day_mean"].to_numpy()
        gaps.append(
            [y[habit == 1].mean() - y[habit == 0].mean(), y[weekend].mean() - y[~weekend].mean()]
        )
    mean, error = np.mean(gaps, axis=0), np.std(gaps, axis=0) / np.sqrt(150)
    # A habit that fell on weekends by chance keeps what it shares with them.
    shared = habit[weekend].mean() * 2 - 1
    assert abs(mean[0]) < 12 * abs(shared) + 4 * error[0] + 0.5
    assert mean[1] > 6


def test_a_random_month_runs_whole():
    table = random_table(2, days=32, factors=5, outcomes=("minutes_above", "day_mean"))
    found = error_rate(table, RULES, "c", Run(draws=100), worlds=4)
    assert found.worlds == 4
