"""A table is computed once for a client and its rules, and again for other rules."""

from __future__ import annotations

import pytest

from miner import rulebook
from miner.tables import UNITS, tabulate


@pytest.mark.parametrize("unit", UNITS)
def test_a_table_is_computed_once_for_the_same_rules(make, sensed, unit):
    client = make(glucose=sensed("2026-03-02 00:00", [100.0] * 600))
    first = tabulate(client, rulebook.load(), unit)
    assert tabulate(client, rulebook.load(), unit) is first


def test_other_rules_under_the_same_hash_give_another_table(make, sensed):
    client, rules = make(glucose=sensed("2026-03-02 00:00", [100.0] * 600)), rulebook.load()
    first = tabulate(client, rules, "day")
    late = rules.factors["late_dinner"]
    fewer = rules.model_copy(update={"factors": {"late_dinner": late}})
    assert fewer.hash == rules.hash
    assert tabulate(client, fewer, "day").factors == ("late_dinner",)
    assert tabulate(client, rules, "day") is first
