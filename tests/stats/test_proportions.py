from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest

from miner.stats.proportions import clopper_pearson, newcombe

REFERENCE = Path(__file__).parents[2] / "datasets" / "reference"


# Newcombe 1998, Stat Med 17:857-872, table I, printed to four decimals.
def test_single_proportions_as_printed():
    rows = pd.read_csv(REFERENCE / "c_single_proportion_table.csv").query("method == 'clopper'")
    assert len(rows) == 4
    for row in rows.itertuples():
        low, high = clopper_pearson(*(int(part) for part in row.inputs.split("/")))
        assert low == pytest.approx(row.published_lo_4dp, abs=5e-5)
        assert high == pytest.approx(row.published_hi_4dp, abs=5e-5)


# Newcombe 1998, Stat Med 17:873-890, table II, method 10, cases (a) to (h).
def test_differences_as_printed():
    rows = pd.read_csv(REFERENCE / "c_newcombe_diff_table.csv")
    assert len(rows) == 8
    for row in rows.itertuples():
        counts = [int(part) for side in row.inputs.split("-") for part in side.split("/")]
        low, high = newcombe(*counts)
        assert low == pytest.approx(row.published_lo_4dp, abs=5e-5)
        assert high == pytest.approx(row.published_hi_4dp, abs=5e-5)


# Hanley and Lippman-Hand 1983, JAMA 249:1743: with none in n the one-sided 95 % upper limit is
# 1 - 0.05^(1/n), which is the upper limit of the two-sided 90 % interval.
def test_upper_limit_where_nothing_was_seen():
    rows = pd.read_csv(REFERENCE / "c_association_measures_expected.csv")
    rows = rows[rows["id"] == "C-RULE3"].pivot(index="inputs", columns="stat", values="value")
    assert len(rows) >= 10
    for inputs, row in rows.astype(float).iterrows():
        trials = int(inputs.split("/")[1])
        exact, two_sided = row["exact_one_sided95_upper"], row["clopper_two_sided95_upper"]
        assert clopper_pearson(0, trials, 0.90)[1] == pytest.approx(exact, abs=1e-9)
        assert clopper_pearson(0, trials)[1] == pytest.approx(two_sided, abs=1e-9)


counts = st.integers(1, 300).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


# scipy's binomial test as an independent implementation; Newcombe's formula from its Wilson
# limits: d - sqrt((p1 - l1)^2 + (u2 - p2)^2) to d + sqrt((u1 - p1)^2 + (p2 - l2)^2).
@settings(derandomize=True, max_examples=100, deadline=None)
@given(one=counts, other=counts, confidence=st.floats(0.5, 0.999))
def test_agrees_with_a_library(one, other, confidence):
    answer = binomtest(*one).proportion_ci(confidence, "exact")
    np.testing.assert_allclose(clopper_pearson(*one, confidence), answer, atol=1e-9)
    p1, p2 = one[0] / one[1], other[0] / other[1]
    (l1, u1), (l2, u2) = (binomtest(*n).proportion_ci(confidence, "wilson") for n in (one, other))
    low = p1 - p2 - np.hypot(p1 - l1, u2 - p2)
    high = p1 - p2 + np.hypot(u1 - p1, p2 - l2)
    np.testing.assert_allclose(newcombe(*one, *other, confidence), (low, high), atol=1e-9)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(one=counts, other=counts)
def test_turning_the_question_round_turns_the_interval_round(one, other):
    low, high = newcombe(*one, *other)
    np.testing.assert_allclose(newcombe(*other, *one), (-high, -low), atol=1e-12)
    low, high = clopper_pearson(*one)
    assert 0 <= low <= one[0] / one[1] <= high <= 1
    turned = clopper_pearson(one[1] - one[0], one[1])
    np.testing.assert_allclose(turned, (1 - high, 1 - low), atol=1e-12)


def test_no_trials_no_interval():
    for found in (clopper_pearson(0, 0), newcombe(0, 0, 1, 2), newcombe(1, 2, 0, 0)):
        assert np.isnan(found).all()
