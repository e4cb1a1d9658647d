"""What is kept stays as it was, whatever the rule books say later."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from fresh_tables import idea, table_of

from miner import rulebook
from miner.core.messages import MinerError
from miner.core.results import Counts, Evidence, Hypothesis, OutcomeSummary, plain
from miner.followup.keeping import as_kept, freeze, thaw
from miner.hypotheses.design import factor_definition, outcome_definition
from miner.ledger import FrozenIdea
from miner.records.client import Client, Settings
from miner.tables.cells import Found, cut


@pytest.fixture(scope="module")
def rules():
    return rulebook.load()


def client(low=70.0, high=140.0):
    settings = Settings(
        "c", None, (low, high), (), {}, (), ("sat", "sun"), (), False, None, "mg/dL", "day", None,
        {},
    )  # fmt: skip
    return Client(Path("c"), settings, {}, {}, (), "hash")


def hypothesis(factor, outcome="minutes_above"):
    return Hypothesis(
        "aaaaaaaa", 1, "search", (factor,), (1,), outcome, "precedes", Counts(9, 4, 20, 3, 1),
        30.0, "min", (1.0, 59.0), 0.01, 0.04, Evidence.CLEAR, expected_on_new_days=20.0,
        standard_error=11.0, degrees_of_freedom=24,
    )  # fmt: skip


def frozen(rules, table, factor):
    summary = OutcomeSummary("minutes_above", "min", 20, 50.0, 38.0)
    return freeze(hypothesis(factor), summary, table, rules, client())


def test_a_later_rule_book_does_not_change_it(rules):
    written = frozen(rules, table_of(rules), "late_dinner")
    moved = rules.factors["late_dinner"].model_copy(update={"at": 19.0, "lag": {"day": 0}})
    harder = rules.outcomes["minutes_above"].model_copy(
        update={"smallest_worth_it": 90.0, "coverage": 0.1}
    )
    later = rules.model_copy(
        update={
            "factors": dict(rules.factors) | {"late_dinner": moved},
            "outcomes": dict(rules.outcomes) | {"minutes_above": harder},
        }
    )
    back = thaw(written, later)
    assert factor_definition(back.factor("late_dinner")) == factor_definition(
        rules.factor("late_dinner")
    )
    assert back.factor("late_dinner").lag == rules.factor("late_dinner").lag
    assert outcome_definition(back.outcome("minutes_above")) == outcome_definition(
        rules.outcome("minutes_above")
    )
    assert written.smallest_worth_it == 20
    without = later.model_copy(
        update={"factors": {k: v for k, v in later.factors.items() if k != "late_dinner"}}
    )
    assert thaw(written, without).factor("late_dinner").at == 21


@pytest.mark.parametrize("factor", ["few_steps", "high_carb_day", "little_deep_sleep"])
def test_a_cut_of_the_client_s_own_stays_the_number_it_was(rules, factor):
    rule, rng = rules.factor(factor), np.random.default_rng(2)
    table = table_of(rules)
    values = rng.normal(100, 20, len(table.frame)).round()
    table = replace(table, measures=table.measures.assign(**{factor: values}))
    written = frozen(rules, table, factor)
    kept_rule = thaw(written, rules).factor(factor)
    usable = [True] * len(values)

    def decided(of, numbers):
        return [item.decided for item in cut([Found(float(v)) for v in numbers], of, usable)]

    assert decided(kept_rule, values) == decided(rule, values)
    far = values + 1000
    assert set(decided(kept_rule, far)) != set(decided(rule, far))


def test_a_tag_keeps_its_words(rules):
    written = frozen(rules, table_of(rules), "tag:coffee late")
    back = thaw(written, rules)
    assert "coffee late" in back.factor("tag:coffee late").phrase
    assert [name for name in back.factors_of("day") if name.startswith("tag:")] == [
        "tag:*", "tag:coffee late",
    ]  # fmt: skip


def test_the_range_stays_the_one_it_was_counted_with(rules):
    written = frozen(rules, table_of(rules), "late_dinner")
    assert as_kept(client(63.0, 120.0), written).settings.range == (70.0, 140.0)


def test_what_is_kept_is_plain(rules):
    written = frozen(rules, table_of(rules), "late_dinner")
    payload = plain(written.payload())
    assert json.loads(json.dumps(payload)) == payload
    assert FrozenIdea.read(payload) == written
    assert payload["direction"] == "up"
    assert payload["definitions"]["factors"]["late_dinner"]["at"] == 21


def test_unreadable_definitions_are_told(rules):
    with pytest.raises(MinerError, match="cannot be read"):
        thaw(idea(definitions={"factors": {"x": {}}}), rules)
    with pytest.raises(MinerError, match="cannot be read"):
        thaw(idea(definitions={}), rules)
    whole = frozen(rules, table_of(rules), "late_dinner").definitions
    with pytest.raises(MinerError, match="cannot be read"):
        thaw(idea(definitions=whole.model_copy(update={"range": None})), rules)
