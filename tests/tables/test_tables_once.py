"""A table is computed once for a client and its rules, and again for other rules."""

from __future__ import annotations

import pytest

from miner import rulebook
from miner.tables.days import day_table
from miner.tables.meals import meal_table


@pytest.mark.parametrize("table", [day_table, meal_table])
def test_a_table_is_computed_once_for_the_same_rules(make, sensed, table):
    client = make(glucose=sensed("2026-03-02 00:00", [100.0] * 600))
    first = table(client, rulebook.load())
    assert table(client, rulebook.load()) is first


def test_other_rules_under_the_same_hash_give_another_table(make, sensed):
    client, rules = make(glucose=sensed("2026-03-02 00:00", [100.0] * 600)), rulebook.load()
    first = day_table(client, rules)
    late = rules.factors["late_dinner"]
    fewer = rules.model_copy(update={"factors": {"late_dinner": late}})
    assert fewer.hash == rules.hash
    assert day_table(client, fewer).factors == ("late_dinner",)
    assert day_table(client, rules) is first
