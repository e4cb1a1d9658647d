from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from miner.stats.proportions import clopper_pearson, newcombe, wilson

REFERENCE = Path(__file__).parents[2] / "datasets" / "reference"


# Newcombe 1998, Stat Med 17:857-872, table I, printed to four decimals.
@pytest.mark.parametrize(
    ("method", "interval"),
    [
        ("wilson", wilson),
        ("clopper", clopper_pearson),
    ],
)
def test_single_proportions_as_printed(method, interval):
    rows = pd.read_csv(REFERENCE / "c_single_proportion_table.csv").query("method == @method")
    assert len(rows) == 4
    for row in rows.itertuples():
        low, high = interval(*(int(part) for part in row.inputs.split("/")))
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


# statsmodels as an independent implementation.
@settings(derandomize=True, max_examples=100, deadline=None)
@given(one=counts, other=counts, confidence=st.floats(0.5, 0.999))
def test_agrees_with_a_library(one, other, confidence):
    alpha = 1 - confidence
    for own, name in ((wilson, "wilson"), (clopper_pearson, "beta")):
        answer = np.nan_to_num(proportion_confint(*one, alpha, name), nan=0.0)
        np.testing.assert_allclose(own(*one, confidence), answer, atol=1e-9)
    answer = confint_proportions_2indep(*one, *other, method="newcomb", alpha=alpha)
    np.testing.assert_allclose(newcombe(*one, *other, confidence), answer, atol=1e-9)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(one=counts, other=counts)
def test_turning_the_question_round_turns_the_interval_round(one, other):
    low, high = newcombe(*one, *other)
    np.testing.assert_allclose(newcombe(*other, *one), (-high, -low), atol=1e-12)
    for interval in (wilson, clopper_pearson):
        low, high = interval(*one)
        assert 0 <= low <= one[0] / one[1] <= high <= 1
        turned = interval(one[1] - one[0], one[1])
        np.testing.assert_allclose(turned, (1 - high, 1 - low), atol=1e-12)


def test_no_trials_no_interval():
    for found in (wilson(0, 0), clopper_pearson(0, 0), newcombe(0, 0, 1, 2), newcombe(1, 2, 0, 0)):
        assert np.isnan(found).all()
