import numpy as np
import pytest
from small_tables import NAN, RULES, day_table, meal_rules, meal_table, with_guard

from miner.core.results import Counts
from miner.hypotheses.candidates import candidates
from miner.hypotheses.design import design


def flags(n, yes):
    """A column of n days with yes on the first ``yes`` of a fixed mixed order."""
    out = np.zeros(n)
    out[np.random.default_rng(7).permutation(n)[:yes]] = 1.0
    return out


def _rules(outcome, factors, rules=RULES, **options):
    table = day_table({"day_mean": outcome}, factors, **options)
    plan = design(table, rules)
    target = plan.targets[0]
    found = candidates(plan, target)
    return {tuple(target.items[at].factor for at in rule.items): rule for rule in found}


def _values(n, seed=1):
    return np.random.default_rng(seed).normal(100, 8, n)


# Contract, section 5: fewest units with and without 5; of days also 10 %.
@pytest.mark.parametrize(
    ("days", "yes", "reason", "have", "need"),
    [
        (30, 5, None, None, None),
        (30, 4, "it came on too few days", 4, 5),
        (30, 25, None, None, None),
        (30, 26, "too few days were without it", 4, 5),
        (60, 6, None, None, None),
        (60, 5, "it came on too few days", 5, 6),
        (61, 6, "it came on too few days", 6, 7),
        (61, 55, "too few days were without it", 6, 7),
        (30, 0, "it came on too few days", 0, 5),
        (30, 30, "too few days were without it", 0, 5),
    ],
)
def test_one_below_the_guardrail_is_withheld(days, yes, reason, have, need):
    rule = _rules(_values(days), {"late_dinner": flags(days, yes)})[("late_dinner",)]
    if reason is None:
        assert rule.withheld is None
    else:
        assert (str(rule.withheld.reason), rule.withheld.have, rule.withheld.need) == (
            reason, have, need,
        )  # fmt: skip
    assert (rule.counts.with_, rule.counts.without) == (yes, days - yes)


def test_a_factor_unknown_on_all_days_is_counted_as_unknown():
    rule = _rules(_values(30), {"late_dinner": np.full(30, NAN)})[("late_dinner",)]
    assert rule.counts == Counts(0, 0, 0, 0, 30)
    assert str(rule.withheld.reason) == "it came on too few days"


# With + without + unknown = the units usable for that outcome (contract, section 4).
def test_days_without_the_outcome_are_not_counted():
    outcome = _values(30)
    outcome[:4] = NAN
    factor = np.tile([1.0, 0.0, NAN], 10)
    counts = _rules(outcome, {"late_dinner": factor})[("late_dinner",)].counts
    assert (counts.with_, counts.without, counts.unknown) == (8, 9, 9)


def test_more_than_half_tied_is_withheld_and_half_is_not():
    factor = {"late_dinner": flags(30, 12), "tag:rain": flags(30, 15)}
    outcome = _values(30)
    outcome[:15] = 0
    assert all(rule.withheld is None for rule in _rules(outcome, factor).values())
    outcome[15] = 0
    found = _rules(outcome, factor)
    assert set(found) == {("late_dinner",), ("tag:rain",)}
    for rule in found.values():
        assert str(rule.withheld.reason) == "more than half the values are the same"
        assert (rule.withheld.have, rule.withheld.need) == (16 / 30, 0.5)


def test_an_outcome_that_never_changed_is_withheld_whatever_the_share_allowed():
    found = _rules(
        np.full(30, 5.0), {"late_dinner": flags(30, 12)}, with_guard(largest_share_tied=1.0)
    )
    assert str(found[("late_dinner",)].withheld.reason) == "it never changed"
    assert found[("late_dinner",)].counts.known == 30


def test_an_outcome_known_on_too_few_days_is_not_said_never_to_change():
    need = 2 * RULES.guardrails.fewest_units_each_side
    for known, reason in (
        (1, "we know it on too few days"),
        (need - 1, "we know it on too few days"),
        (need, "more than half the values are the same"),
    ):
        outcome = np.full(30, NAN)
        outcome[:known] = 5.0
        withheld = _rules(outcome, {"late_dinner": flags(30, 12)})[("late_dinner",)].withheld
        assert str(withheld.reason) == reason
    assert (withheld.have, withheld.need) == (1.0, 0.5)


def test_an_outcome_known_on_no_day_has_no_rule_to_test():
    found = _rules(np.full(30, NAN), {"late_dinner": flags(30, 12)})
    assert str(found[("late_dinner",)].withheld.reason) == "it came on too few days"


def test_an_outcome_that_meets_no_factor_has_no_rules():
    table = day_table({"overnight_mean": _values(30)}, {"short_sleep": flags(30, 12)})
    plan = design(table, RULES)
    assert candidates(plan, plan.targets[0]) == []


A, B, C = np.tile([1, 1, 0, 0], 16), np.tile([1, 0], 32), np.repeat([1, 0], 32)


# Rules of two; of three from 60 units (contract, section 5; method, step 4).
@pytest.mark.parametrize(("days", "largest"), [(59, 2), (60, 3)])
def test_the_largest_rule(days, largest):
    factors = {"tag:a": A[:days], "tag:b": B[:days], "tag:c": C[:days]}
    found = _rules(_values(days), factors)
    assert max(len(names) for names in found) == largest
    assert {names for names in found if len(names) == 2} == {
        ("tag:a", "tag:b"), ("tag:a", "tag:c"), ("tag:b", "tag:c"),
    }  # fmt: skip
    pair = found[("tag:a", "tag:b")]
    np.testing.assert_array_equal(pair.values, (A & B)[:days])


@pytest.mark.parametrize(("limit", "sizes"), [(1, {1}), (2, {1, 2}), (3, {1, 2, 3})])
def test_the_rule_book_may_ask_for_shorter_rules(limit, sizes):
    factors = {"tag:a": A, "tag:b": B, "tag:c": C}
    found = _rules(_values(64), factors, with_guard(largest_rule=limit))
    assert {len(names) for names in found} == sizes


# Of rules with the same units the shortest is kept: here every day with the walk has the rain too.
def test_a_set_with_the_same_units_as_one_of_its_parts_is_no_rule():
    rain, walk = flags(40, 20), flags(40, 12)
    assert (rain * walk == walk).all()
    found = _rules(_values(40), {"tag:rain": rain, "tag:walk": walk})
    assert set(found) == {("tag:rain",), ("tag:walk",)}


def test_of_two_sets_with_the_same_units_one_is_kept():
    factors = {"tag:a": A[:40], "tag:b": B[:40], "tag:c": B[:40]}
    found = _rules(_values(40), factors)
    assert ("tag:a", "tag:b") in found
    assert ("tag:a", "tag:c") not in found


def test_a_set_needs_enough_days_of_its_own():
    one, other = np.zeros(40), np.zeros(40)
    one[:14], other[10:24] = 1, 1
    assert set(_rules(_values(40), {"tag:a": one, "tag:b": other})) == {("tag:a",), ("tag:b",)}


def test_an_unknown_part_leaves_a_set_unknown_unless_the_other_is_no():
    one, other = A[:40].astype(float), B[:40].astype(float)
    one[:4] = NAN
    rule = _rules(_values(40), {"tag:a": one, "tag:b": other})[("tag:a", "tag:b")]
    np.testing.assert_array_equal(rule.values[:4], [NAN, 0, NAN, 0])
    assert rule.counts.unknown == 2


# Method, step 4: of meals five with and five without, on five distinct days each.
def test_meals_need_five_different_days_each_side():
    table = meal_table(20, per_day=3)
    walk = np.zeros(60)
    walk[:12] = 1  # twelve meals of four days
    table.frame["walk_after"] = walk
    rules = meal_rules()
    plan = design(table, rules)
    found = candidates(plan, plan.targets[0])[0].withheld
    assert (str(found.reason), found.have, found.need) == (
        "it came on too few different days",
        4,
        5,
    )
    walk[12] = 1  # and one of a fifth
    table.frame["walk_after"] = walk
    plan = design(table, rules)
    assert candidates(plan, plan.targets[0])[0].withheld is None
    table.frame["walk_after"] = 1 - walk
    table.frame.loc[table.frame.index[12], "walk_after"] = 1.0
    plan = design(table, rules)
    found = candidates(plan, plan.targets[0])[0].withheld
    assert str(found.reason) == "too few different days were without it"


def test_meals_need_no_share_of_all_meals():
    table = meal_table(40, per_day=3)
    walk = np.zeros(120)
    walk[[0, 20, 40, 60, 80]] = 1
    table.frame["walk_after"] = walk
    plan = design(table, meal_rules())
    assert candidates(plan, plan.targets[0])[0].withheld is None


def test_no_meals_have_no_days():
    table = meal_table(4)
    table.frame["rise"] = NAN
    plan = design(table, meal_rules())
    found = candidates(plan, plan.targets[0])
    assert {str(rule.withheld.reason) for rule in found} == {"it came on too few meals"}
