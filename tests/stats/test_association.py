from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from mlxtend.frequent_patterns import apriori, association_rules

from miner.stats.association import confidence, leverage, lift, support

REFERENCE = Path(__file__).parents[2] / "datasets" / "reference"
EXPECTED = pd.read_csv(REFERENCE / "c_association_measures_expected.csv")


def _measures(both, first, second, units):
    return {
        "support": support(both, units),
        "confidence": confidence(both, first),
        "lift": lift(both, first, second, units),
        "leverage": leverage(both, first, second, units),
    }


def _compare(rows, measures):
    for name, value in measures.items():
        answer = rows.loc[rows["stat"] == name, "value"].astype(float).item()
        assert value == pytest.approx(answer, rel=1e-9, abs=1e-9), name


# both, first only, second only, neither
# C-BRIN: Brin, Motwani, Silverstein 1997. C-TANTEA: Tan et al., table 6.8.
# C-HANGAMES: Han and Kamber, games and videos.
@pytest.mark.parametrize(
    ("name", "cells"),
    [
        ("C-BRIN", (20, 5, 70, 5)),
        ("C-TANTEA", (150, 50, 650, 150)),
        ("C-HANGAMES", (4000, 2000, 3500, 500)),
    ],
)
def test_textbook_tables(name, cells):
    both, first_only, second_only, _ = cells
    rows = EXPECTED[EXPECTED["id"] == name]
    _compare(rows, _measures(both, both + first_only, both + second_only, sum(cells)))


# Han, Kamber, Pei, Data Mining, 3rd ed., table 6.9, D1 to D6.
def test_six_data_sets_at_once_as_arrays():
    rows = EXPECTED[EXPECTED["id"] == "C-HKP69"]
    cells = rows["inputs"].drop_duplicates().str.findall(r"=(\d+)").tolist()
    both, first_only, second_only, neither = np.array(cells, dtype=int).T
    assert both.size == 6
    found = _measures(
        both, both + first_only, both + second_only, both + first_only + second_only + neither
    )
    for stat, values in found.items():
        answers = rows.loc[rows["stat"] == stat, "value"].astype(float)
        np.testing.assert_allclose(values, answers, rtol=1e-9, atol=1e-9)


# Every rule of the three basket sets that the reference lists (Tan et al. ch. 6; Agrawal and
# Srikant 1994, fig. 3; Han and Kamber ch. 6: six rules of {I1, I2, I5}).
@pytest.mark.parametrize("name", ["C-TSK5", "C-AS94", "C-HK9"])
def test_rules_of_the_textbook_baskets(name):
    baskets = pd.read_csv(REFERENCE / "c_baskets.csv", dtype=str).query("id == @name")
    table = baskets["items"].str.get_dummies("|").astype(bool)
    rules = EXPECTED[EXPECTED["id"] == name].groupby("inputs")
    assert len(rules) >= 2
    for rule, rows in rules:
        left, right = (table[side.split("|")].all(axis=1) for side in rule.split(" -> "))
        _compare(rows, _measures((left & right).sum(), left.sum(), right.sum(), len(table)))


# mlxtend's association_rules as an independent implementation.
def test_agrees_with_a_library_on_random_tables():
    for seed in range(20):
        yes = pd.DataFrame(np.random.default_rng(seed).random((40, 5)) < 0.5)
        rules = association_rules(apriori(yes, 0.05), num_itemsets=40, min_threshold=0.0)
        for _, rule in rules.iterrows():
            left = yes[list(rule["antecedents"])].all(axis=1)
            right = yes[list(rule["consequents"])].all(axis=1)
            found = _measures((left & right).sum(), left.sum(), right.sum(), 40)
            assert found == pytest.approx({name: rule[name] for name in found}, abs=1e-12)


@pytest.mark.filterwarnings("error")
def test_what_has_no_value_is_nan_without_a_warning_and_the_rest_is_kept():
    np.testing.assert_array_equal(confidence([0, 3], [0, 4]), [np.nan, 0.75])
    np.testing.assert_array_equal(support([0, 3], [0, 12]), [np.nan, 0.25])
    np.testing.assert_array_equal(lift([0, 2], [0, 4], [3, 4], 8), [np.nan, 1.0])
    assert np.isnan(leverage(0, 0, 0, 0))
