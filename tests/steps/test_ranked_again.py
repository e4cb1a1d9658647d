"""Records that are the same, asked the same, are ranked once; asked anything else, again."""

from dataclasses import replace

import pytest

from miner import steps
from miner.core import resources
from miner.steps import ranking as module
from miner.steps.opening import load_rules


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("again") / "practice" / "client"
    resources.invented().effect_client(place, 3, "short_sleep", 14.0, days=28)
    return place


def test_only_the_same_question_about_the_same_records_is_not_computed_again(folder, monkeypatch):
    computed = []
    real = module.rank_table

    def counted(*given, **asked):
        computed.append(asked)
        return real(*given, **asked)

    monkeypatch.setattr(module, "rank_table", counted)
    client, rules = steps.read_client(folder), load_rules(None, folder)
    how = {"rules": rules, "draws": 100}
    first = steps.rank(client, **how)
    assert steps.rank(client, **how) == first
    assert len(computed) == 1
    moved = rules.factors["short_sleep"].model_copy(update={"at": 6.5})
    other = rules.model_copy(update={"factors": dict(rules.factors) | {"short_sleep": moved}})
    for change in (
        {"draws": 101},
        {"seed": 1},
        {"first": "2026-01-14"},
        {"last": "2026-02-05"},
        {"together": False},
        {"rules": other},
        {"spreads": {("short_sleep", "wake_glucose"): 3.0}},
    ):
        computed.clear()
        found = steps.rank(client, **(how | change))
        assert len(computed) == 1, change
    assert found == steps.rank(replace(client), **(how | change))
    computed.clear()
    steps.fix_question(client, "late_dinner", "wake_glucose", rules=rules)
    assert steps.rank(client, **how).hypotheses != first.hypotheses
    assert len(computed) == 1
