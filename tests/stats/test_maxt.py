from dataclasses import replace
from itertools import combinations, permutations
from pathlib import Path

import numpy as np
import oracle
import pandas as pd
import pytest
from scipy.stats import norm
from scipy.stats import t as student

from miner.stats import dependence as dep
from miner.stats import effects, maxt
from miner.stats.effects import orthonormal, residual
from miner.stats.scores import normal_scores

REFERENCE = Path(__file__).parents[2] / "datasets" / "reference"
SIX_DAYS = pd.read_csv(REFERENCE / "c_westfall_young_small.csv")
EVERY_ORDER = np.array(list(permutations(range(6))))


def _plain_block(rules, outcome, known=None):
    """Independent units, an intercept and nothing else."""
    n = len(outcome)
    basis = np.full((n, 1), n**-0.5)
    known = np.arange(n) if known is None else known
    return maxt.Block(residual(basis, rules), residual(basis, outcome[:, None])[:, 0], basis, known)


def _six_days(factors):
    rules = SIX_DAYS[factors].to_numpy(float)
    return _plain_block(rules, SIX_DAYS["bad"].to_numpy(float))


# C-WY: six days, three of them bad, all relabellings. Raw p-values as exact fractions.
@pytest.mark.parametrize(("factor", "raw"), [("f1", 1 / 10), ("f2", 1 / 10), ("f3", 1.0)])
def test_six_days_one_factor_alone_has_its_raw_p(factor, raw):
    found = maxt.judge([_six_days([factor])], EVERY_ORDER, complete=True)
    assert found.single_step[0] == pytest.approx(raw, abs=1e-12)
    assert found.step_down[0] == pytest.approx(raw, abs=1e-12)


# All three together, by enumeration of the largest Student's t between bad days and others.
def test_six_days_by_enumeration_of_the_largest_t():
    values = SIX_DAYS[["f1", "f2", "f3"]].to_numpy(float)

    def sizes(days):
        chosen = np.isin(np.arange(6), days)
        left, right = values[chosen], values[~chosen]
        pooled = (left.var(axis=0, ddof=1) + right.var(axis=0, ddof=1)) / 2
        gap = left.mean(axis=0) - right.mean(axis=0)
        return np.abs(gap) / np.sqrt(np.maximum(pooled, 1e-300) * 2 / 3)

    observed = sizes(np.flatnonzero(SIX_DAYS["bad"]))
    every = np.array([sizes(days) for days in combinations(range(6), 3)])
    assert every.shape == (20, 3)
    single, stepped = oracle.step_down(observed, every, complete=True)
    found = maxt.judge([_six_days(["f1", "f2", "f3"])], EVERY_ORDER, complete=True)
    np.testing.assert_allclose(found.single_step, single, atol=1e-12)
    np.testing.assert_allclose(found.step_down, stepped, atol=1e-12)
    np.testing.assert_allclose(found.z, norm.isf(student.sf(observed, 4)), atol=1e-9)


# C-WY, unstandardised: f2 and f3 are the same numbers in another order, so that the largest
# difference in means and the largest |t| are the same question. f1 spreads more: there the
# reference's 3/10 of the unstandardised maximum is not what standardising gives.
def test_six_days_difference_in_means_and_t_agree_where_factors_spread_alike():
    values = SIX_DAYS[["f2", "f3"]].to_numpy(float)
    assert sorted(values[:, 0]) == sorted(values[:, 1])

    def differences(days):
        chosen = np.isin(np.arange(6), days)
        return np.abs(values[chosen].mean(axis=0) - values[~chosen].mean(axis=0))

    every = np.array([differences(days) for days in combinations(range(6), 3)])
    observed = differences(np.flatnonzero(SIX_DAYS["bad"]))
    single, stepped = oracle.step_down(observed, every, complete=True)
    found = maxt.judge([_six_days(["f2", "f3"])], EVERY_ORDER, complete=True)
    np.testing.assert_allclose(found.single_step, single, atol=1e-12)
    np.testing.assert_allclose(found.step_down, stepped, atol=1e-12)


W = tuple(np.round(np.arange(0, 1, 0.1), 2))
P = (0.0, 0.3, 0.6, 0.9)


def _record(seed, *, meals, outcomes=2, n=24, m=5):
    """Outcomes with different unknown units, whole numbers with ties, unknown items."""
    rng = np.random.default_rng(seed)
    times = np.sort(rng.integers(0, 9, n)) if meals else np.cumsum(rng.integers(1, 3, n))
    X = np.column_stack([np.ones(n), times % 2 == 0, (times - times.mean()) / times.std()])
    X = X.astype(float)
    rules = (rng.random((n, m)) < 0.4).astype(float)
    rules[rng.random((n, m)) < 0.1] = np.nan
    record = []
    for number in range(outcomes):
        known = np.sort(rng.choice(n, n - 3 * number, replace=False))
        y = np.round(rng.normal(100, 8, n) + 6 * X[:, 1] + 8 * np.nan_to_num(rules[:, 0]))
        record.append(
            {
                "y": y[known],
                "times": times[known].astype(float),
                "X": X[known],
                "rules": rules[known][:, : m - number],
                "known": known,
            }
        )
    return record


def _engine(outcome):
    scores = normal_scores(outcome["y"])
    times, X, rules = outcome["times"], outcome["X"], outcome["rules"]
    found = dep.fit(dep.spectrum(times, P), scores[:, None], X, W)[0]
    centred = np.where(np.isnan(rules), 0, rules - np.nanmean(rules, axis=0))
    white = dep.whiten(times, found, np.column_stack([scores, centred, X]))
    basis = orthonormal(white[:, 1 + rules.shape[1] :])
    left = residual(basis, white[:, : 1 + rules.shape[1]])
    return maxt.Block(left[:, 1:], left[:, 0], basis, outcome["known"]), found


# The brute-force implementation of the whole test: scores, dependence, whitening, permutation of
# residuals refitted in full, step-down over outcomes with different units known.
@pytest.mark.parametrize("meals", [False, True])
@pytest.mark.parametrize("seed", range(13))
def test_the_engine_agrees_with_the_brute_force(seed, meals):
    record = _record(seed, meals=meals, outcomes=2 + seed % 2)
    orders = maxt.shuffles(24, 59, seed)
    answer = oracle.maxt(record, orders, [(w, phi) for phi in P for w in W])
    blocks, t, df = [], [], []
    for outcome, prepared in zip(record, answer["prepared"], strict=True):
        block, found = _engine(outcome)
        C = dep.correlation(outcome["times"], found.phi, found.w)
        np.testing.assert_allclose(C, prepared["C"], atol=1e-12)
        single = effects.single(block.rules, block.outcome, block.nuisance.shape[1])
        t.append(single.t)
        df += [single.df] * len(single.t)
        blocks.append(block)
    found = maxt.judge(blocks, orders)
    np.testing.assert_allclose(np.concatenate(t), answer["t"], atol=1e-8)
    assert df == answer["df"].tolist()
    np.testing.assert_allclose(found.z, np.abs(answer["z"]), atol=1e-7)
    np.testing.assert_allclose(found.single_step, answer["p_single"], atol=1e-12)
    np.testing.assert_allclose(found.step_down, answer["p_stepdown"], atol=1e-12)
    steps = oracle.step_quantiles(np.abs(answer["z"]), answer["permuted"])
    np.testing.assert_allclose(found.critical, steps, atol=1e-4)


def _family(seed=0, n=30, m=40, outcomes=3, draws=400):
    rng = np.random.default_rng(seed)
    blocks = []
    for number in range(outcomes):
        known = np.sort(rng.choice(n, n - number, replace=False))
        rules = (rng.random((n, m)) < 0.35).astype(float)[known]
        y = rng.normal(size=len(known)) + 1.2 * rules[:, 0] + 0.6 * rules[:, 1]
        blocks.append(_plain_block(rules, y, known))
    return blocks, maxt.shuffles(n, draws, seed)


def test_step_down_never_falls_for_a_smaller_z_and_never_passes_single_step():
    blocks, orders = _family()
    found = maxt.judge(blocks, orders)
    order = np.argsort(-found.z, kind="stable")
    assert (np.diff(found.step_down[order]) >= 0).all()
    assert (found.step_down <= found.single_step + 1e-12).all()
    assert (found.step_down[order] < found.single_step[order]).any()
    assert found.step_down[order[0]] == found.single_step[order[0]]
    assert found.single_step.min() >= 1 / 401


def test_fewer_exact_places_are_conservative_below_and_the_same_above():
    blocks, orders = _family()
    full = maxt.judge(blocks, orders, exact=1000)
    order = np.argsort(-full.z, kind="stable")
    for exact in (1, 7, 30, 120):
        found = maxt.judge(blocks, orders, exact=exact)
        np.testing.assert_array_equal(found.step_down[order[:exact]], full.step_down[order[:exact]])
        assert (found.step_down >= full.step_down).all()
        assert (found.step_down <= np.maximum(full.single_step, full.step_down)).all()
        np.testing.assert_array_equal(found.single_step, full.single_step)
        assert (found.critical >= full.critical).all()
    assert (maxt.judge(blocks, orders, exact=1).step_down > full.step_down).any()


@pytest.mark.parametrize("chunk", [1, 37, 400, 4000])
def test_the_chunk_does_not_change_the_answer(chunk, monkeypatch):
    blocks, orders = _family(draws=200)
    answer, told = maxt.judge(blocks, orders), []
    monkeypatch.setattr(maxt, "CHUNK", chunk)
    found = maxt.judge(blocks, orders, progress=told.append)
    np.testing.assert_array_equal(found.step_down, answer.step_down)
    np.testing.assert_array_equal(found.single_step, answer.single_step)
    np.testing.assert_allclose(found.critical, answer.critical, rtol=1e-5)
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert len(told) == -(-200 // chunk)


def test_the_order_of_rules_and_of_outcomes_does_not_matter():
    blocks, orders = _family(m=12)
    answer = maxt.judge(blocks, orders)
    mixed = np.random.default_rng(1).permutation(12)
    turned = [
        maxt.Block(block.rules[:, mixed], block.outcome, block.nuisance, block.known)
        for block in blocks[::-1]
    ]
    found = maxt.judge(turned, orders)
    for name in ("single_step", "step_down", "z", "critical"):
        parts = np.split(getattr(answer, name), 3)
        expected = np.concatenate([part[mixed] for part in parts[::-1]])
        np.testing.assert_allclose(getattr(found, name), expected, atol=1e-5)


# All orders of the units are taken: how the units are numbered cannot matter.
def test_the_order_of_units_does_not_matter_when_every_order_is_taken():
    rng = np.random.default_rng(5)
    rules, y = rng.normal(size=(6, 3)), rng.normal(size=6)
    answer = maxt.judge([_plain_block(rules, y)], EVERY_ORDER, complete=True)
    turn = rng.permutation(6)
    found = maxt.judge([_plain_block(rules[turn], y[turn])], EVERY_ORDER, complete=True)
    np.testing.assert_allclose(found.step_down, answer.step_down, atol=1e-12)
    np.testing.assert_allclose(found.single_step, answer.single_step, atol=1e-12)


def test_scale_and_sign_of_rules_and_outcomes_do_not_matter():
    blocks, orders = _family(m=8)
    answer = maxt.judge(blocks, orders)
    other = [
        maxt.Block(-50 * block.rules, 1e4 * block.outcome, block.nuisance, block.known)
        for block in blocks
    ]
    found = maxt.judge(other, orders)
    np.testing.assert_array_equal(found.step_down, answer.step_down)
    np.testing.assert_allclose(found.z, answer.z, rtol=1e-9)


# One rule, every order: p at or below the level exactly when |z| passes the critical value.
def test_the_critical_value_is_the_quantile_of_the_maximum():
    blocks, orders = _family(m=15, draws=999)
    found = maxt.judge(blocks, orders, chance=0.1)
    every = np.empty((0, 999))
    for block in blocks:
        place = {int(unit): at for at, unit in enumerate(block.known)}
        size = np.linalg.norm(block.rules, axis=0)
        rows = []
        for order in orders:
            y = block.outcome[[place[u] for u in order.tolist() if u in place]]
            y = residual(block.nuisance, y[:, None])[:, 0]
            rows.append(np.abs(y @ block.rules) / size / np.linalg.norm(y))
        r = np.array(rows).T
        t = r * np.sqrt(block.df / (1 - r**2))
        every = np.vstack([every, -norm.ppf(student.sf(t, block.df))])
    highest = np.sort(every.max(axis=0))
    best = found.z.argmax()
    assert found.critical[best] == pytest.approx(highest[900 - 1], abs=1e-4)
    assert (found.critical <= found.critical[best]).all()


# Step-down, its bound of the same step: p at or below the level exactly when |z| passes it. Where
# all rules are true the last step has the bound of one rule alone (Student's t).
@pytest.mark.parametrize("true", [0, 3, 6])
def test_what_passes_lies_beyond_the_bound_of_its_own_step(true):
    rng = np.random.default_rng(true)
    rules = rng.normal(size=(60, 6))
    y = rules[:, :true].sum(axis=1) + 0.5 * rng.normal(size=60)
    block = _plain_block(rules, y)
    found = maxt.judge([block], maxt.shuffles(60, 4999, 0))
    np.testing.assert_array_equal(found.step_down <= 0.05, found.z > found.critical)
    assert (found.step_down <= 0.05).sum() >= true
    order = np.argsort(-found.z)
    assert (np.diff(found.critical[order]) <= 0).all()
    if true == 6:
        assert found.critical[order[-1]] == pytest.approx(norm.isf(0.025), abs=0.08)


# z is the normal quantile of the tail of Student's t (scipy), and back.
@pytest.mark.parametrize("df", [2, 11, 80])
def test_z_from_r_and_back(df):
    r = np.array([0.0, 0.05, 0.4, 0.8, 0.95])
    t = r * np.sqrt(df / (1 - r**2))
    z = maxt.z_from_r(r, df)
    np.testing.assert_allclose(z, norm.isf(student.sf(t, df)), rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(maxt.z_from_r(-r, df), z)
    np.testing.assert_allclose(maxt.r_from_z(z, df), r, atol=1e-9)
    assert maxt.z_from_r(np.array([1.0]), df)[0] == np.inf
    assert maxt.r_from_z(np.array([np.inf]), df)[0] == 1.0


# Every shuffle holds every unit once; all orders of three come up about equally often.
def test_shuffles_are_fair_and_repeatable():
    orders = maxt.shuffles(3, 6000, 1)
    assert orders.shape == (6000, 3)
    assert (np.sort(orders, axis=1) == np.arange(3)).all()
    _, seen = np.unique(orders, axis=0, return_counts=True)
    assert len(seen) == 6
    assert np.abs(seen - 1000).max() < 4 * np.sqrt(6000 * (1 / 6) * (5 / 6))
    np.testing.assert_array_equal(orders, maxt.shuffles(3, 6000, 1))
    assert (orders != maxt.shuffles(3, 6000, 2)).any()


def test_a_rule_in_which_nothing_is_left_never_passes():
    rng = np.random.default_rng(3)
    rules = np.column_stack([rng.normal(size=20), np.zeros(20)])
    found = maxt.judge([_plain_block(rules, rng.normal(size=20))], maxt.shuffles(20, 99, 0))
    assert (found.z[1], found.single_step[1], found.step_down[1]) == (0.0, 1.0, 1.0)


def test_an_outcome_without_rules_changes_nothing():
    blocks, orders = _family(outcomes=1, m=6)
    bare = maxt.Block(np.empty((30, 0)), blocks[0].outcome, blocks[0].nuisance, np.arange(30))
    found, answer = maxt.judge([bare, *blocks], orders), maxt.judge(blocks, orders)
    np.testing.assert_array_equal(found.step_down, answer.step_down)
    np.testing.assert_array_equal(found.critical, answer.critical)


def test_an_outcome_that_is_all_nuisance_claims_nothing():
    rules = np.random.default_rng(0).normal(size=(12, 3))
    block = maxt.Block(rules, np.zeros(12), np.full((12, 1), 12**-0.5), np.arange(12))
    found = maxt.judge([block], maxt.shuffles(12, 50, 0))
    np.testing.assert_array_equal(found.step_down, 1.0)


def test_arguments_are_left_as_they_were():
    blocks, orders = _family(outcomes=2, m=4, draws=20)
    copies = [(block.rules.copy(), block.outcome.copy(), block.known.copy()) for block in blocks]
    before = orders.copy()
    maxt.judge(blocks, orders)
    np.testing.assert_array_equal(orders, before)
    for block, (rules, outcome, known) in zip(blocks, copies, strict=True):
        np.testing.assert_array_equal(block.rules, rules)
        np.testing.assert_array_equal(block.outcome, outcome)
        np.testing.assert_array_equal(block.known, known)


# Yes and no in both: every order of eight units, against Fisher's tables with the same margins
# (scipy's hypergeometric), tables as far from what is expected counted together.
@pytest.mark.parametrize(("with_", "high", "both"), [(4, 4, 4), (4, 4, 3), (3, 4, 3), (2, 5, 0)])
def test_yes_and_no_are_fishers_tables_enumerated(with_, high, both):
    from scipy.stats import hypergeom

    rule = np.repeat([1.0, 0.0], [with_, 8 - with_])
    outcome = np.zeros(8)
    outcome[:both] = outcome[with_ : with_ + high - both] = 1
    every = np.array(list(permutations(range(8))))
    block = _plain_block(rule[:, None], outcome)
    found = maxt.judge([block], every, complete=True)
    cells = np.arange(9)
    away = np.abs(cells - with_ * high / 8)
    chances = hypergeom.pmf(cells, 8, high, with_)
    expected = chances[away >= abs(both - with_ * high / 8) - 1e-9].sum()
    assert found.single_step[0] == pytest.approx(expected, abs=1e-12)


# The larger of two rules, signed and not, over every order of six units.
@pytest.mark.parametrize("way", [0, 1, -1])
def test_the_largest_of_two_is_that_of_every_order(way):
    rng = np.random.default_rng(2)
    rules, y = rng.normal(size=(6, 2)), rng.normal(size=6)
    block = _plain_block(rules, y)
    found = maxt.largest(block, EVERY_ORDER, way)
    t = np.array([effects.single(block.rules, block.outcome[order], 1).t for order in EVERY_ORDER])
    expected = (np.abs(t) if way == 0 else way * t).max(axis=1)
    z = [maxt.signed_z(value, block.df) for value in expected]
    np.testing.assert_allclose(found, np.sort(z), atol=1e-4)
    z = float(found[700])
    assert maxt.tail(found, z) == pytest.approx(((found >= z - 1e-5).sum() + 1) / 721)
    bound = maxt.quantile(found, 0.05)
    assert maxt.tail(found, bound + 1e-3) <= 0.05 < maxt.tail(found, bound - 1e-3)
    assert maxt.quantile(found[:10], 0.05) == np.inf


# A penalty that all share changes no p. One that some have is taken off their |z| in the records
# and in every draw alike: against the oracle's step-down of what is left.
def test_a_penalty_is_taken_off_before_rules_are_compared():
    rng = np.random.default_rng(4)
    y, orders = rng.normal(size=14), maxt.shuffles(14, 199, 0)
    rules = rng.normal(size=(14, 5)) + np.outer(y, [1.0, 0.0, 0.9, 0.0, 0.0])
    free, held = _plain_block(rules[:, :2], y), _plain_block(rules[:, 2:], y)
    plain = maxt.judge([free, held], orders)
    shared = maxt.judge([replace(free, penalty=0.4), replace(held, penalty=0.4)], orders)
    for name in ("z", "single_step", "step_down"):
        np.testing.assert_allclose(getattr(shared, name), getattr(plain, name))
    np.testing.assert_allclose(shared.critical, plain.critical, atol=1e-6)
    found = maxt.judge([free, replace(held, penalty=0.4)], orders)
    off = np.array([0, 0, 0.4, 0.4, 0.4])
    all_rules = np.column_stack([free.rules, held.rules])
    t = np.array([effects.single(all_rules, free.outcome[order], 1).t for order in orders])
    permuted = np.array([[maxt.signed_z(abs(value), free.df) for value in row] for row in t]) - off
    single, stepped = oracle.step_down(plain.z - off, permuted)
    np.testing.assert_allclose(found.z, plain.z)
    np.testing.assert_allclose(found.single_step, single)
    np.testing.assert_allclose(found.step_down, stepped)
    expected = oracle.step_quantiles(plain.z - off, permuted, 0.05) + off
    np.testing.assert_allclose(found.critical, expected, atol=1e-4)
    assert found.step_down[2] > plain.step_down[2]


def test_t_and_z_have_the_same_tail_and_sign():
    for t in (-3.1, -0.2, 0.0, 1.7):
        z = maxt.signed_z(t, 11)
        assert student.sf(t, 11) == pytest.approx(norm.sf(z), rel=1e-9)
        assert maxt.critical_t(np.array([z]), 11)[0] == pytest.approx(t, abs=1e-9)
    assert maxt.critical_t(np.array([np.inf]), 5)[0] == np.inf
