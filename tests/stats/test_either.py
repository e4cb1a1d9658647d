"""The better of two looks: against Student's t, Bonferroni, simulation and permutation."""

import numpy as np
import pytest
from scipy.stats import t as student

from miner.stats import maxt
from miner.stats.effects import either, orthonormal, r_of_t, residual


# Two columns that are one: Student's t. The grid of angles is fine enough for a p of 1e-8.
@pytest.mark.parametrize("df", [3, 18, 36, 87])
@pytest.mark.parametrize("t", [0.3, 2.0, 4.0, 6.5])
def test_one_column_twice_is_students_t(t, df):
    limit = r_of_t(t, df)
    assert either(limit, limit, 1.0, df) == pytest.approx(2 * student.sf(t, df), rel=2e-3)
    assert either(limit, limit, -1.0, df) == pytest.approx(2 * student.sf(t, df), rel=2e-3)


def test_it_lies_between_one_look_and_two_that_know_nothing_of_each_other():
    limit, alone = r_of_t(2.4, 30), 2 * student.sf(2.4, 30)
    found = [either(limit, limit, r, 30) for r in (0.99, 0.8, 0.5, 0.0)]
    assert alone < found[0] < found[1] < found[2] < found[3] < 2 * alone


# Normal scatter, 400,000 draws: a standard error of 0.0004.
@pytest.mark.parametrize("limits", [(0.35, 0.35), (0.3, 0.5), (0.5, 0.3)])
def test_two_columns_against_simulation(limits):
    rng = np.random.default_rng(0)
    columns = rng.normal(size=(20, 2))
    columns[:, 1] += columns[:, 0]
    columns /= np.linalg.norm(columns, axis=0)
    y = rng.normal(size=(400_000, 20))
    y /= np.linalg.norm(y, axis=1, keepdims=True)
    share = (np.abs(y @ columns) >= limits).any(axis=1).mean()
    along = float(columns[:, 0] @ columns[:, 1])
    assert either(*limits, along, 19) == pytest.approx(share, abs=0.0016)


# Normal scores in every shuffled order: the permutation of the larger of both.
def test_two_columns_against_permutation():
    rng = np.random.default_rng(1)
    measure = rng.normal(size=40)
    X = np.column_stack([np.ones(40), np.arange(40)])
    basis = orthonormal(X)
    columns = residual(basis, np.column_stack([measure > 0.7, measure]))
    y = residual(basis, rng.normal(size=(40, 1)))[:, 0]
    block = maxt.Block(columns, y, basis, np.arange(40))
    maxima = maxt.largest(block, maxt.shuffles(40, 19999, 0))
    along = float(columns[:, 0] @ columns[:, 1] / np.prod(np.linalg.norm(columns, axis=0)))
    for z in (1.0, 1.96, 2.6):
        limit = float(maxt.r_from_z(np.array([z]), block.df)[0])
        assert either(limit, limit, along, block.df) == pytest.approx(
            maxt.tail(maxima, z), abs=0.006
        )


def test_a_limit_that_cannot_be_reached_and_one_that_always_is():
    assert either(1.0, 1.0, 0.3, 20) == 0.0
    assert either(0.0, 0.9, 0.3, 20) == 1.0
    assert r_of_t(np.inf, 5) == 1.0
