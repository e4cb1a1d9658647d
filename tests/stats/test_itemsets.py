from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from miner.stats.scores import frequent_itemsets

REFERENCE = Path(__file__).parents[2] / "datasets" / "reference"


def _by_hand(yes, largest, least):
    """Every set of columns, counted one by one."""
    return [
        columns
        for size in range(1, largest + 1)
        for columns in combinations(range(yes.shape[1]), size)
        if sum(all(row[column] for column in columns) for row in yes) >= max(least, 1)
    ]


# C-TSK5: Tan, Steinbach, Kumar, Introduction to Data Mining, ch. 6, table 6.1, count 3.
# C-AS94: Agrawal and Srikant 1994, VLDB, fig. 3, count 2: L3 = {2, 3, 5}.
# C-HK9: Han and Kamber, Data Mining, ch. 6, nine baskets, count 2: 13 frequent sets.
@pytest.mark.parametrize(
    ("name", "least", "sets"),
    [
        ("C-TSK5", 3, 8),
        ("C-AS94", 2, 9),
        ("C-HK9", 2, 13),
    ],
)
def test_textbook_baskets(name, least, sets):
    baskets = pd.read_csv(REFERENCE / "c_baskets.csv", dtype=str).query("id == @name")
    table = baskets["items"].str.get_dummies("|").astype(bool)
    expected = pd.read_csv(REFERENCE / "c_frequent_itemsets_expected.csv", dtype=str)
    expected = expected.query("id == @name")["itemset"].tolist()
    found = frequent_itemsets(table.to_numpy(), table.shape[1], least)
    named = ["|".join(table.columns[list(items)]) for items in found]
    assert len(named) == sets
    assert sorted(named) == sorted("|".join(sorted(text.split("|"))) for text in expected)


@settings(derandomize=True, max_examples=150, deadline=None)
@given(
    seed=st.integers(0, 2**31),
    units=st.integers(1, 30),
    items=st.integers(1, 7),
    share=st.floats(0.1, 0.9),
    largest=st.integers(1, 4),
    least=st.integers(0, 12),
)
def test_agrees_with_counting_every_set_in_the_same_order(
    seed, units, items, share, largest, least
):
    yes = np.random.default_rng(seed).random((units, items)) < share
    assert frequent_itemsets(yes, largest, least) == _by_hand(yes, largest, least)


@pytest.mark.parametrize("units", range(1, 121))
def test_a_set_that_just_reaches_the_count_is_found_at_every_length(units):
    for count in {1, units // 3 or 1, units}:
        yes = np.zeros((units, 2), dtype=bool)
        yes[:count] = True
        assert frequent_itemsets(yes, 2, count) == [(0,), (1,), (0, 1)]
        assert frequent_itemsets(yes, 2, count + 1) == []


@pytest.mark.parametrize("shape", [(0, 0), (0, 3), (4, 0)])
def test_nothing_in_nothing_out(shape):
    assert frequent_itemsets(np.zeros(shape, dtype=bool), 2, 1) == []


def test_no_item_ever_occurs_or_no_set_is_wanted():
    assert frequent_itemsets(np.zeros((5, 3), dtype=bool), 2, 0) == []
    assert frequent_itemsets(np.ones((5, 3), dtype=bool), 0, 1) == []


def test_input_is_left_as_it_was_and_only_plain_integers_come_out():
    yes = np.random.default_rng(5).random((20, 4)) < 0.6
    before = yes.copy()
    found = frequent_itemsets(yes, 3, 3)
    assert (yes == before).all()
    assert found
    assert {type(item) for items in found for item in items} == {int}
