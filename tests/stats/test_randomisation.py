import csv
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm, permutation_test
from statsmodels.stats.contingency_tables import mcnemar

from miner.stats.power import (
    change_first,
    pair_spread,
    pairs_detectable,
    pairs_power,
    sign_flips,
    smallest_p,
)

REFERENCE = Path(__file__).resolve().parents[2] / "datasets" / "reference"


def rows(name):
    with (REFERENCE / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def expected(prefix):
    name = "e_timeseries_nof1_expected.csv"
    table = [tuple(row.values()) for row in rows(name)]
    return {(case, what): float(value) for key, case, what, value in table if key == prefix}


def darwin():
    return [float(row["diff_eighths_inch"]) for row in rows("e_darwin_fisher1935.csv")]


def student():
    table = rows("e_sleep_student1908.csv")
    one, two = (
        np.array([float(row["extra"]) for row in table if row["group"] == group]) for group in "12"
    )
    return two - one


def test_darwin_s_plants():
    # Fisher 1935, The Design of Experiments, section 21: 863 of 32768 orders reach the sum 314,
    # 1726 to both sides.
    found = sign_flips(darwin())
    assert (sum(darwin()), found.reached, found.orders, found.exact) == (314, 863, 32768, True)
    assert found.p_one_sided == 863 / 32768
    assert found.p == 1726 / 32768


def test_student_s_sleep():
    # Student 1908, Biometrika 6:1; sign flips by enumeration: p 0.00390625.
    assert sign_flips(student()).p == 0.00390625


def test_six_pairs():
    # E-RB: A, B of six pairs, sum 46, p 2/64 and 4/64 (enumeration).
    first = np.array([110, 104, 121, 99, 130, 117])
    second = np.array([102, 101, 108, 100, 115, 109])
    table = {what: value for (_, what), value in expected("E-RB").items()}
    found = sign_flips(first - second)
    assert (first - second).sum() == table["sum_diff"]
    assert found.p_one_sided == table["p_one_sided"]
    assert found.p == table["p_two_sided"]


# Yes and no before and after: the pairs that changed, one way and the other. McNemar's test with
# the exact binomial p (statsmodels); 4 and 9 of 13, by hand: 2 (1 + 13 + 78 + 286 + 715) / 2^13.
@pytest.mark.parametrize(("up", "down"), [(4, 9), (0, 6), (1, 7), (5, 5), (2, 3)])
def test_pairs_of_yes_and_no_are_mcnemar_s_test(up, down):
    changed = np.repeat([1.0, -1.0, 0.0], [up, down, 4])
    p = mcnemar([[3, up], [down, 1]], exact=True).pvalue
    assert sign_flips(changed, exact_up_to=17).p == pytest.approx(p, abs=1e-12)
    if (up, down) == (4, 9):
        assert p == pytest.approx(2 * (1 + 13 + 78 + 286 + 715) / 2**13, abs=1e-12)


@pytest.mark.parametrize("pairs", range(2, 13))
def test_the_smallest_p_of_so_many_pairs(pairs):
    # E-MINP, randomised blocks: 2^-n; here to both sides.
    table = expected("E-MINP")
    case = f"randomised block (pairs) n_blocks={pairs}"
    found = sign_flips(np.arange(1.0, pairs + 1))
    assert found.orders == table[case, "n_assignments"]
    assert found.p_one_sided == table[case, "min_p_one_sided"]
    assert found.p == smallest_p(pairs) == 2 * table[case, "min_p_one_sided"]


def test_against_scipy():
    rng = np.random.default_rng(3)
    for k in (5, 8, 11):
        values = rng.normal(0.4, 1, k)
        other = permutation_test(
            (values, np.zeros(k)), lambda a, b: np.mean(a - b), permutation_type="samples",
            n_resamples=np.inf,
        )  # fmt: skip
        assert sign_flips(values).p == pytest.approx(other.pvalue, abs=1e-12)


def naive_p(values, effect):
    seen = abs(sum(value - effect for value in values))
    turned = [
        abs(sum(s * (value - effect) for s, value in zip(signs, values, strict=True)))
        for signs in product((1, -1), repeat=len(values))
    ]
    return sum(item >= seen - 1e-9 for item in turned) / len(turned)


@pytest.mark.parametrize("k", [6, 7, 9])
def test_the_interval_holds_what_the_test_does_not_reject(k):
    values = np.random.default_rng(k).normal(1, 2, k)
    low, high = sign_flips(values).interval
    for effect in (low + 1e-6, (low + high) / 2, high - 1e-6):
        assert naive_p(values, effect) > 0.05
    for effect in (low - 1e-6, high + 1e-6):
        assert naive_p(values, effect) <= 0.05
    assert (low > 0 or high < 0) == (sign_flips(values).p <= 0.05)


def test_too_few_pairs_have_no_interval():
    assert sign_flips([1, 2, 3, 4, 5]).interval is None
    assert sign_flips([1, 2, 3, 4, 5, 6]).interval == (1, 6)
    empty = sign_flips([np.nan])
    assert (np.isnan(empty.p), empty.orders, empty.interval) == (True, 0, None)


def test_drawn_orders_agree_with_all_of_them():
    found, all_of_them = sign_flips(darwin(), exact_up_to=3), sign_flips(darwin())
    assert not found.exact
    # four standard errors of 100,000 draws
    assert found.p_one_sided == pytest.approx(all_of_them.p_one_sided, abs=0.0021)
    assert found.interval == pytest.approx(all_of_them.interval, abs=1.0)
    assert found == sign_flips(darwin(), exact_up_to=3)
    assert found != sign_flips(darwin(), exact_up_to=3, seed=1)


def test_no_effect_is_p_one_and_sides_are_alike():
    assert sign_flips([1, -1, 2, -2, 3, -3]).p == 1.0
    values = np.array(darwin())
    one, other = sign_flips(values), sign_flips(-values)
    assert (one.p, one.interval) == (other.p, (-other.interval[1], -other.interval[0]))


def test_order_of_the_pairs_and_missing_pairs_change_nothing():
    values = np.random.default_rng(1).normal(size=8)
    with_gap = np.concatenate([values[::-1], [np.nan]])
    found, other = sign_flips(values), sign_flips(with_gap)
    assert (found.reached, found.p) == (other.reached, other.p)
    assert found.interval == pytest.approx(other.interval)


def test_which_comes_first_is_independent_and_fair():
    thrown = np.array([change_first(8, seed) for seed in range(2000)])
    assert abs(thrown.mean() - 0.5) < 4 * 0.5 / np.sqrt(thrown.size)
    heads = thrown.sum(axis=1)
    # binomial variance 2; balanced orders would give 0
    assert abs(heads.var() - 2) < 0.3
    assert (change_first(8, 5) == change_first(8, 5)).all()


@pytest.mark.parametrize("effect", [0.5, 1.0, 1.5, 2.0])
def test_six_pairs_are_found_where_all_agree(effect):
    # two-sided at 5 % six pairs must all point one way: Phi(d)^6
    assert pairs_power(effect, 1, 6) == pytest.approx(norm.cdf(effect) ** 6, abs=0.03)


@pytest.mark.parametrize("pairs", [5, 6, 8, 10])
@pytest.mark.parametrize("effect", [0.5, 1.0, 1.5, 2.0])
def test_power_against_the_table(pairs, effect):
    # E-RBPOWER: one-sided at 5 %, 4000 draws; one-sided at 5 % is two-sided at 10 %.
    case = f"blocks={pairs} mean diff / sd of diffs={effect} one-sided alpha=.05 (MC 4000)"
    table = expected("E-RBPOWER")[case, "power"]
    assert pairs_power(effect, 1, pairs, 0.10) == pytest.approx(table, abs=0.03)


@pytest.mark.parametrize(("pairs", "found"), [(6, (0.17, 0.45, 0.65)), (10, (0.51, 0.83, 0.98))])
def test_power_against_the_trials_of_the_method(pairs, found):
    # Trials of the design: 1, 1.5 and 2 SD of one period; a pair scatters by sqrt(2) of it. They
    # rest on some hundred diaries, hence seven points.
    for effect, share in zip((1, 1.5, 2), found, strict=True):
        assert pairs_power(effect, np.sqrt(2), pairs) == pytest.approx(share, abs=0.07)


def test_power_by_running_the_test():
    rng = np.random.default_rng(8)
    worlds = rng.normal(0.8, 1, (600, 9))
    share = np.mean([sign_flips(world).p <= 0.05 and world.mean() > 0 for world in worlds])
    assert pairs_power(0.8, 1, 9) == pytest.approx(share, abs=0.06)


def test_the_two_ways_to_power_meet():
    for effect in (0.5, 0.8, 1.0):
        twelve, thirteen = pairs_power(effect, 1, 12), pairs_power(effect, 1, 13)
        assert 0 < thirteen - twelve < 0.08


def test_power_and_detectable_agree():
    for effect in (0.6, 1.0, 1.3):
        pairs = next(k for k in range(6, 60) if pairs_power(effect, 1, k) >= 0.8)
        assert pairs_power(effect, 1, pairs - 1) < 0.8
        assert pairs_detectable(1, pairs) <= effect < pairs_detectable(1, pairs - 1)
    assert pairs_power(3, 1, 5) == 0
    assert pairs_detectable(1, 5) == np.inf
    assert np.isnan(pairs_power(1, 0, 8))
    assert np.isnan(pairs_detectable(0, 8))


def test_spread_of_a_pair_against_drawn_series():
    rng = np.random.default_rng(2)
    times = np.array([1.0, 2, 4, 5])
    first = np.array([True, True, False, False])
    phi, w, spread = 0.6, 0.7, 3.0
    matrix = w * phi ** np.abs(times[:, None] - times[None, :])
    np.fill_diagonal(matrix, 1)
    series = spread * rng.multivariate_normal(np.zeros(4), matrix, 40_000)
    seen = (series[:, first].mean(axis=1) - series[:, ~first].mean(axis=1)).std()
    assert pair_spread(times, first, spread, phi, w) == pytest.approx(seen, rel=0.02)
    # independent units: sd * sqrt(1/m + 1/n)
    assert pair_spread(times, first, spread, 0, 0) == pytest.approx(3.0)
