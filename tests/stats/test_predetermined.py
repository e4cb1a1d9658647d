"""A column cleared of its group's level by units that cannot have reacted, unit by unit."""

from __future__ import annotations

import numpy as np
import pytest

from miner.stats.mixed_design import Panel
from miner.stats.pooling import predetermined, two_stage, within_residual


def made(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    groups = np.repeat(np.arange(6), 25)
    times = np.tile(np.arange(25.0), 6) + rng.random(150) / 2
    x = (rng.random(150) < 0.3 + groups / 20).astype(float)
    late = (times > 12) * (groups > 2) * 1.0  # a column that is 0 throughout in some groups
    nuisance = np.column_stack([(times % 7 >= 5) * 1.0, times, late])
    order = rng.permutation(150)
    return x[order], groups[order], times[order], nuisance[order]


def by_hand(
    x: np.ndarray, groups: np.ndarray, times: np.ndarray, nuisance: np.ndarray, reach: float
) -> np.ndarray:
    """Each unit's vector of weights by itself, by least squares on the units left to it."""
    found, centred = np.zeros(x.size), x - x.mean()
    for g in np.unique(groups):
        own = np.flatnonzero(groups == g)
        N = np.column_stack([np.ones(own.size), nuisance[own]])
        z = np.zeros(own.size)
        for at in range(own.size):
            before = times[own][at] - times[own]
            used = ~((before > 0) & (before <= reach))
            weights = np.zeros(own.size)
            weights[at] = 1.0
            target = weights[used]
            fitted = N[used] @ np.linalg.lstsq(N[used], target, rcond=1e-10)[0]
            weights[used] = target - fitted
            z += weights * centred[own][at]
        found[own] = z * (z @ x[own]) / (z @ z)
    return found


@pytest.mark.parametrize("reach", [0.0, 3.0, 7.0])
@pytest.mark.parametrize("seed", [0, 1])
def test_against_the_weights_of_each_unit(seed: int, reach: float) -> None:
    x, groups, times, nuisance = made(seed)
    z = predetermined(x, groups, nuisance, times=times, reach=reach)
    np.testing.assert_allclose(z, by_hand(x, groups, times, nuisance, reach), atol=1e-9)
    for g in range(6):
        own = groups == g
        assert np.abs(nuisance[own].T @ z[own]).max() < 1e-8
        assert abs(z[own].sum()) < 1e-8
        # as an instrument: a regression on it has the slope the outcome was made with
        assert (z[own] @ (2.5 * x[own])) / (z[own] @ z[own]) == pytest.approx(2.5)


@pytest.mark.parametrize("at_once", [1, 30, 60, 1000])
def test_in_parts_of_whole_groups_it_is_the_same(
    at_once: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("miner.stats.pooling.AT_ONCE", at_once)
    x, groups, times, nuisance = made(3)
    some = groups != 4  # one group less, one of another size
    some[np.flatnonzero(groups == 2)[:9]] = False
    x, groups, times, nuisance = x[some], groups[some], times[some], nuisance[some]
    z = predetermined(x, groups, nuisance, times=times, reach=5.0)
    np.testing.assert_allclose(z, by_hand(x, groups, times, nuisance, 5.0), atol=1e-9)


def test_without_reach_it_is_the_residual_of_least_squares() -> None:
    x, groups, times, nuisance = made(2)
    z = predetermined(x, groups, nuisance, times=times, reach=0.0)
    np.testing.assert_allclose(z, within_residual(x, groups, nuisance)[0], atol=1e-9)


def test_a_later_reaction_leaves_it_alone() -> None:
    x, groups, times, _ = made(3)
    z = predetermined(x, groups, times=times, reach=5.0)
    here = np.flatnonzero(groups == 1)
    here = here[np.argsort(times[here])]
    changed = x.copy()
    changed[here[9:11]] += 1.0
    changed[groups == 4] -= 2 / (groups == 4).sum()  # the mean of all, which is taken out, stays
    again = predetermined(changed, groups, times=times, reach=5.0)
    usual, moved = (within_residual(item, groups)[0] for item in (x, changed))
    # both come within 5 days after the units at places 7 and 8; a group's scale is its own
    assert times[here[10]] - times[here[7]] < 5.0
    assert again[here[7]] / again[here[8]] == pytest.approx(z[here[7]] / z[here[8]], rel=1e-9)
    assert again[here[2]] / again[here[8]] != pytest.approx(z[here[2]] / z[here[8]], rel=1e-3)
    assert moved[here[7]] != pytest.approx(usual[here[7]], rel=1e-3)


# Nickell 1981: with a habit that follows yesterday's outcome the within slope of nothing is not 0.
def test_a_habit_that_follows_the_outcome_shows_nothing_where_nothing_is() -> None:
    rng = np.random.default_rng(4)
    clients, days = 2000, 14
    y = rng.normal(size=(clients, days))
    x = np.zeros((clients, days))
    x[:, 1:] = (0.8 * y[:, :-1] + 0.6 * rng.normal(size=(clients, days - 1)) > 0.3).astype(float)
    x[:, 0] = rng.random(clients) < 0.4
    g, t = np.repeat(np.arange(clients), days), np.tile(np.arange(float(days)), clients)
    usual = two_stage(y.ravel(), x.ravel(), Panel(g))[0]
    z = predetermined(x.ravel(), g, times=t, reach=7.0)
    cleared = two_stage(y.ravel(), z, Panel(g))[0]
    assert usual.estimate < -4 * usual.standard_error
    assert abs(cleared.estimate) < 3 * cleared.standard_error
    assert cleared.standard_error < 1.25 * usual.standard_error


def test_a_group_that_does_not_vary_gives_nothing_and_wrong_use_is_refused() -> None:
    x, groups, times, nuisance = made(5)
    x[groups == 2] = 1.0
    z = predetermined(x, groups, times=times, reach=0.0)
    assert not z[groups == 2].any()
    with pytest.raises(ValueError, match="lengths"):
        predetermined(x[1:], groups, times=times, reach=1.0)
    with pytest.raises(ValueError, match="unknown"):
        predetermined(np.where(groups == 0, np.nan, x), groups, nuisance, times=times, reach=1.0)
