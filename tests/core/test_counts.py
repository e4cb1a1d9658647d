from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from mlxtend.frequent_patterns import apriori, association_rules

from miner.core.results import Counts

REFERENCE = Path(__file__).parents[2] / "datasets" / "reference"
EXPECTED = pd.read_csv(REFERENCE / "c_association_measures_expected.csv")
RATIOS = ("support", "confidence", "lift", "leverage")


def _ratios(counts):
    return {name: getattr(counts, name) for name in RATIOS}


def _of_columns(left, right):
    return Counts(
        with_=int(left.sum()),
        with_high=int((left & right).sum()),
        without=int((~left).sum()),
        without_high=int((~left & right).sum()),
        unknown=0,
    )


def _compare(rows, counts):
    seen = 0
    for name, value in _ratios(counts).items():
        answer = rows.loc[rows["stat"] == name, "value"].astype(float)
        assert value == pytest.approx(answer.item(), rel=1e-9, abs=1e-9), name
        seen += 1
    assert seen == 4


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
    both, first_only, second_only, neither = cells
    counts = Counts(both + first_only, both, second_only + neither, second_only, 0)
    _compare(EXPECTED[EXPECTED["id"] == name], counts)


# Han, Kamber, Pei, Data Mining, 3rd ed., table 6.9, D1 to D6.
def test_six_data_sets():
    rows = EXPECTED[EXPECTED["id"] == "C-HKP69"]
    groups = list(rows.groupby("inputs"))
    assert len(groups) == 6
    for inputs, own in groups:
        both, first_only, second_only, neither = map(
            int, pd.Series(inputs).str.findall(r"=(\d+)").item()
        )
        counts = Counts(both + first_only, both, second_only + neither, second_only, 0)
        for name, value in _ratios(counts).items():
            answer = own.loc[own["stat"] == name, "value"].astype(float)
            np.testing.assert_allclose(value, answer, rtol=1e-9, atol=1e-9)


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
        _compare(rows, _of_columns(left, right))


# mlxtend's association_rules as an independent implementation.
def test_agrees_with_a_library_on_random_tables():
    for seed in range(8):
        yes = pd.DataFrame(np.random.default_rng(seed).random((40, 4)) < 0.5)
        rules = association_rules(apriori(yes, 0.05), num_itemsets=40, min_threshold=0.0)
        assert len(rules) > 20
        for _, rule in rules.iterrows():
            left = yes[list(rule["antecedents"])].all(axis=1)
            right = yes[list(rule["consequents"])].all(axis=1)
            found = _ratios(_of_columns(left, right))
            assert found == pytest.approx({name: rule[name] for name in RATIOS}, abs=1e-12)


# Nothing to divide by: undefined, never 0. Unknown units are in no ratio.
def test_what_has_no_value_is_undefined():
    assert _ratios(Counts(0, 0, 0, 0, 7)) == dict.fromkeys(RATIOS)
    never = Counts(0, 0, 12, 3, 0)
    assert (never.support, never.confidence, never.lift) == (0.0, None, None)
    assert never.leverage == pytest.approx(0.0)
    flat = Counts(4, 0, 8, 0, 5)
    assert (flat.confidence, flat.lift, flat.known, flat.high) == (0.0, None, 12, 0)
    assert _ratios(Counts(4, 2, 8, 1, 0)) == _ratios(Counts(4, 2, 8, 1, 99))


# The names of the contract's JSON.
def test_the_names_of_the_contract():
    found = Counts(9, 5, 19, 2, 2).to_dict()
    assert found == {"with": 9, "with_high": 5, "without": 19, "without_high": 2, "unknown": 2}
    # The contract's own example: 9 with, 5 of them high, 19 without, 2 of them high.
    shown = {name: round(value, 2) for name, value in _ratios(Counts(9, 5, 19, 2, 2)).items()}
    assert shown == {"support": 0.18, "confidence": 0.56, "lift": 2.22, "leverage": 0.1}
