"""Many covariances at once against one by one; following the best against a search from afresh."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from miner.stats.mixed_design import CrossProducts, Panel, cross_products, design
from miner.stats.mixed_likelihood import evaluate, evaluate_many, posterior, posteriors
from miner.stats.mixed_optimise import Likelihood, Optimum, follow, minimise, optimum

FREE = (0, 1, 2)


def likelihood(seed: int, phi: float, spread: float = 2.0) -> Likelihood:
    rng = np.random.default_rng(seed)
    g, t = np.repeat(np.arange(20), 15), np.tile(np.arange(15.0), 20)
    x = (rng.random(g.size) < 0.4).astype(float)
    own = rng.normal(size=(20, 2)) * [3.0, spread]
    y = own[g, 0] + (1 + own[g, 1]) * x + 3 * rng.normal(size=g.size)
    prepared = design(y, np.column_stack([np.ones(g.size), x, t]), Panel(g, t), x)
    assert not isinstance(prepared, str)
    return Likelihood(cross_products(prepared, phi), g.size - 3, True, FREE)


@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("at_once", [1, 45, 40_000])
def test_many_are_as_one_by_one(reml: bool, at_once: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("miner.stats.mixed_likelihood.AT_ONCE", at_once)
    products = likelihood(1, 0.3).products
    thetas = np.abs(np.random.default_rng(2).normal(size=(7, 3))) * [[1, -1, 1]]
    thetas[3] = 0.0
    found = evaluate_many(products, thetas, 100, reml=reml)
    K, det = posteriors(products, thetas)
    for at, theta in enumerate(thetas):
        one = evaluate(products, theta, 100, reml=reml)
        assert found.deviance[at] == pytest.approx(one.deviance, rel=1e-12)
        assert found.rss[at] == pytest.approx(one.rss, rel=1e-10)
        np.testing.assert_allclose(found.coefficients[at], one.coefficients, rtol=1e-8, atol=1e-10)
        np.testing.assert_allclose(found.inverse[at], one.inverse, rtol=1e-8, atol=1e-12)
        L = np.array([[theta[0], 0.0], [theta[1], theta[2]]])
        own_K, own_det = posterior(products, L @ L.T)
        np.testing.assert_allclose(K[at], own_K, rtol=1e-8, atol=1e-14)
        np.testing.assert_allclose(det[at], own_det, rtol=1e-10)
        bare = evaluate(products, theta, 100, reml=reml, slopes=False)
        assert bare.deviance == one.deviance


def test_where_one_is_not_defined_the_others_are() -> None:
    products = likelihood(1, 0.0).products
    thetas = np.array([[0.0, 0.0, 0.0], [5.0, 0.0, 5.0]])
    size = products.total.shape[0]
    shrunk: CrossProducts = replace(products, total=0.5 * products.total)
    ones = [evaluate(shrunk, theta, 50, reml=True).deviance for theta in thetas]
    assert np.isinf(ones).tolist() == [False, True]
    found = evaluate_many(shrunk, thetas, 50, reml=True)
    assert found.deviance[0] == pytest.approx(ones[0], rel=1e-12)
    assert found.deviance[1] == np.inf
    assert found.coefficients.shape == (2, size - 1)


@pytest.mark.parametrize("seed", [3, 4, 5, 6])
def test_following_ends_where_a_search_from_afresh_does(seed: int) -> None:
    before, here = likelihood(seed, 0.2), likelihood(seed, 0.24)
    near = optimum(before, minimise(before))
    assert near is not None
    found = follow(here, near)
    if found is not None:
        best = here.deviance(minimise(here))
        assert here.deviance(found) == pytest.approx(best, abs=1e-6)
    assert (found is not None) or near.moving != FREE


def test_what_cannot_be_followed_is_told() -> None:
    here = likelihood(7, 0.2)
    best = minimise(here)
    near = optimum(here, best)
    assert near is not None
    assert near.moving == FREE
    far = Optimum(np.array([20.0, 0.0, 20.0]), FREE, near.inverse)
    assert follow(here, far) is None
    # at 0 although the deviance falls into the interior
    held = optimum(here, np.zeros(3))
    assert held is not None
    assert held.moving == ()
    assert follow(here, held) is None
    # a curvature that points the wrong way
    assert follow(here, Optimum(best * 1.1, FREE, -near.inverse)) is None
    # a step so long that a variance would be below 0
    assert follow(here, Optimum(best * 1.5, FREE, near.inverse * 50)) is None
    # away from a minimum there is no curvature to follow with
    assert optimum(here, np.array([60.0, 0.0, 60.0])) is None
    assert optimum(here, np.array([np.nan, 0.0, 1.0])) is None
