from math import sqrt

import numpy as np
import pytest

from miner.stats.out_of_sample import out_of_sample

PENALTIES = (0.1, 1.0, 10.0, 100.0, 1000.0)


def _record(seed, units=60, factors=4, effect=0.0, missing=0.1):
    rng = np.random.default_rng(seed)
    x = (rng.random((units, factors)) < 0.4).astype(float)
    y = effect * x[:, 0] + rng.normal(100, 1, units)
    x[rng.random(x.shape) < missing] = np.nan
    y[rng.random(units) < missing] = np.nan
    return y, x


def _coefficients(x, y, penalty):
    """Ridge by its normal equations, with an intercept that is not penalised."""
    wide = np.column_stack([np.ones(len(y)), x])
    weight = penalty * np.eye(wide.shape[1])
    weight[0, 0] = 0
    return np.linalg.solve(wide.T @ wide + weight, wide.T @ y)


def _naive(y, x, folds, first, penalties):
    """The same comparison by loops over units, without scikit-learn."""
    x, y = x[~np.isnan(y)], y[~np.isnan(y)]
    length = (len(y) - first) // folds
    model, average = [], []
    for fold in range(folds):
        start = len(y) - (folds - fold) * length
        means = [np.nanmean(column) for column in x[:start].T]
        filled = np.where(np.isnan(x), means, x)
        scale = filled[:start].std(axis=0)
        scaled = (filled - filled[:start].mean(axis=0)) / np.where(scale == 0, 1, scale)
        errors = []
        for penalty in penalties:
            total = 0.0
            for left in range(start):
                others = [unit for unit in range(start) if unit != left]
                b = _coefficients(scaled[others], y[others], penalty)
                total += (y[left] - b[0] - scaled[left] @ b[1:]) ** 2
            errors.append(total)
        b = _coefficients(scaled[:start], y[:start], penalties[int(np.argmin(errors))])
        for unit in range(start, start + length):
            model.append((y[unit] - b[0] - scaled[unit] @ b[1:]) ** 2)
            average.append((y[unit] - y[:start].mean()) ** 2)
    return np.array(model), np.array(average)


@pytest.mark.parametrize("seed", range(6))
def test_agrees_with_loops_over_units(seed):
    y, x = _record(seed, units=40, effect=1.0)
    found = out_of_sample(y, x, 4, 14, PENALTIES)
    model, average = _naive(y, x, 4, 14, PENALTIES)
    assert found.units_held_back == model.size
    assert found.mse_model == pytest.approx(model.mean(), rel=1e-8)
    assert found.mse_average == pytest.approx(average.mean(), rel=1e-12)
    assert found.skill == pytest.approx(1 - model.mean() / average.mean(), abs=1e-8)
    gains = average - model
    assert found.gain == pytest.approx(gains.mean(), abs=1e-8)
    assert found.gain_se == pytest.approx(gains.std(ddof=1) / sqrt(gains.size), rel=1e-6)
    assert found.nearer == (gains > 0).sum()


def test_a_strong_factor_is_foretold_and_noise_is_not():
    strong = [out_of_sample(*_record(seed, effect=4.0)).skill for seed in range(20)]
    nothing = [out_of_sample(*_record(seed)).skill for seed in range(20)]
    assert min(strong) > 0.2
    assert max(nothing) < 0.2
    assert np.mean(nothing) < 0.03


def test_later_units_do_not_reach_back():
    y, x = _record(3, effect=2.0, missing=0)
    changed, shorter = y.copy(), out_of_sample(y[:-9], x[:-9], 4, 15)
    changed[-9:] = 500.0
    whole = out_of_sample(changed, x, 5, 15)
    assert shorter.units_held_back == 36
    late = 9 * (500 - y[:-9].mean()) ** 2
    assert whole.mse_average * 45 == pytest.approx(shorter.mse_average * 36 + late, rel=1e-9)


def test_same_input_same_output_and_input_left_alone():
    y, x = _record(8, effect=1.0)
    before = y.copy(), x.copy()
    assert out_of_sample(y, x) == out_of_sample(y, x)
    np.testing.assert_array_equal(y, before[0])
    np.testing.assert_array_equal(x, before[1])


@pytest.mark.filterwarnings("error")
def test_a_factor_not_known_at_first_or_never_differing_is_borne():
    y, x = _record(9, missing=0)
    x[:30, 1] = np.nan
    x[:, 2] = 1.0
    found = out_of_sample(y, x)
    assert str(found.reason) == ""
    assert np.isfinite([found.mse_model, found.skill]).all()


def test_undefined_with_a_reason():
    y, x = _record(1, units=18, missing=0)
    assert str(out_of_sample(y, x[:, :0]).reason) == "there are no habits"
    few = out_of_sample(y, x)
    assert str(few.reason) == "18 are known, and 19 are needed"
    assert np.isnan([few.skill, few.mse_model, few.gain_se]).all()
    flat = out_of_sample(np.full(40, 7.0), np.random.default_rng(0).random((40, 2)))
    assert str(flat.reason) == "the average was never wrong"
    assert np.isnan(flat.skill)


def test_factors_that_vary_only_in_what_is_held_back_are_no_factors_to_learn_from() -> None:
    outcome = np.random.default_rng(1).normal(size=34)
    late = np.zeros((34, 2))
    late[30:, 0] = [1.0, 0.0, 1.0, 0.0]
    late[:, 1] = np.nan
    assert str(out_of_sample(outcome, late).reason) == "no habit varies"
    late[29, 0] = 1.0
    assert str(out_of_sample(outcome, late).reason) == ""
