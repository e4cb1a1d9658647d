"""Drawn estimates against the double integral worked out number by number."""

import numpy as np
import pytest
from scipy.integrate import dblquad

from miner.stats.pooling_own import shrunken_means

# Rubin 1981, Journal of Educational Statistics 6:377, eight schools: effects and standard errors.
EFFECTS = np.array([28.0, 8, -3, 7, -1, 1, 18, 12])
ERRORS = np.array([15.0, 10, 16, 11, 9, 11, 10, 18])


def joint(m, tau):
    v = ERRORS**2 + tau**2
    return np.exp(-0.5 * (np.log(v).sum() + ((EFFECTS - m) ** 2 / v).sum()) + 20)


def mean_of(value):
    """Return the mean over the joint distribution of the mean and the spread, by quadrature."""
    top = dblquad(lambda m, t: value(m, t) * joint(m, t), 0, 150, -120, 120, epsrel=1e-6)[0]
    return top / dblquad(lambda m, t: joint(m, t), 0, 150, -120, 120, epsrel=1e-6)[0]


def test_the_eight_schools_are_drawn_together():
    found = shrunken_means(EFFECTS, ERRORS)
    for at in (0, 2):
        v = ERRORS[at] ** 2

        def drawn(m, t, at=at, v=v):
            return (t**2 * EFFECTS[at] + v * m) / (t**2 + v)

        mean = mean_of(drawn)
        square = mean_of(lambda m, t, v=v, drawn=drawn: drawn(m, t) ** 2 + v * t**2 / (t**2 + v))
        assert found.means[at] == pytest.approx(mean, rel=0.01)
        assert found.deviations[at] == pytest.approx(np.sqrt(square - mean**2), rel=0.01)


def test_far_apart_estimates_are_left_where_they_are():
    values = np.array([-100.0, 0.0, 50.0, 200.0])
    found = shrunken_means(values, np.full(4, 0.5))
    assert found.means == pytest.approx(values, abs=0.05)
    assert found.deviations == pytest.approx(np.full(4, 0.5), rel=0.02)
