import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.stats import chi2_contingency

from miner.stats.effects import correlations, differing

columns = arrays(float, (14, 3), elements=st.sampled_from([0.0, 1.0, np.nan]))


numbers = arrays(float, (14, 3), elements=st.sampled_from([-1.5, 0.0, 0.2, 1.0, 3.0, np.nan]))


# numpy's correlation over the units known for both.
@settings(derandomize=True, deadline=None, max_examples=80)
@given(columns | numbers, columns | numbers)
def test_phi_is_the_correlation_over_units_known_for_both(a, b):
    found = correlations(a, b)
    assert found.shape == (3, 3)
    for i in range(3):
        for j in range(3):
            both = ~np.isnan(a[:, i]) & ~np.isnan(b[:, j])
            x, y = a[both, i], b[both, j]
            if len(set(x)) < 2 or len(set(y)) < 2:
                assert np.isnan(found[i, j])
            else:
                assert found[i, j] == pytest.approx(np.corrcoef(x, y)[0, 1], abs=1e-9)


# phi^2 = chi^2 / n (Agresti 2013): scipy's chi^2 without continuity correction.
def test_phi_squared_is_chi_squared_over_n():
    table = np.array([[9, 4], [3, 12]])
    x = np.repeat([1.0, 1.0, 0.0, 0.0], table.ravel())
    y = np.repeat([1.0, 0.0, 1.0, 0.0], table.ravel())
    chi2 = chi2_contingency(table, correction=False).statistic
    assert correlations(x[:, None], y[:, None])[0, 0] ** 2 == pytest.approx(chi2 / 28, rel=1e-12)


def test_equal_and_opposite():
    x = np.array([1.0, 0, 0, 1, np.nan, 1])
    np.testing.assert_allclose(
        correlations(x[:, None], np.column_stack([x, 1 - x])), [[1.0, -1.0]], atol=1e-12
    )


def test_differing_counts_units_known_for_both():
    nan = np.nan
    x = np.array([1.0, 0, 1, nan, 0, nan])
    y = np.array([1.0, 1, 0, 1, nan, nan])
    assert differing(x, y) == (2, 3)
    assert differing(x, x) == (0, 4)
    assert differing(x[3:4], y[3:4]) == (0, 0)
