"""Rule books are told to a client as "you", to everybody else of "the client"."""

from __future__ import annotations

from types import ModuleType

import pytest

from miner.core.results import Wording, worded
from miner.render.terminal import render
from miner.rulebook import RuleBook
from miner.words.door import OF_CLIENT, Audience, Door, at_door, said_to
from miner.words.ranking import ranking_parts
from miner.words.said import rules_at_door
from miner.words.sentences import factor_phrase, outcome_label

OTHERS = (Audience.PRACTITIONER, Audience.DOCTOR)


@pytest.mark.parametrize("audience", OTHERS)
@pytest.mark.parametrize("section", ["sentence", "result", "tried", "evidence", "plan"])
def test_no_sentence_is_said_to_the_client_of_somebody_else(
    section: str, audience: Audience, rules: RuleBook
) -> None:
    skipped = {"tick", "ask_change"}  # on the client's own sheet and calendar alone
    for key, text in said_to(rules, audience).wording[section].items():
        if key not in skipped:
            assert "your " not in text.casefold(), (section, key)
            assert "you tested" not in text.casefold(), (section, key)


def test_a_client_is_told_you(rules: RuleBook) -> None:
    assert said_to(rules, Audience.CLIENT) is rules
    assert outcome_label("minutes_above", rules) == "time above your range"


@pytest.mark.parametrize("unit", ["day", "meal"])
def test_others_read_of_the_client(rules: RuleBook, unit: str) -> None:
    theirs = said_to(rules, Audience.DOCTOR)
    after = " after the meal" if unit == "meal" else ""
    assert outcome_label("minutes_above", theirs, unit) == f"time above range{after}"
    assert theirs.hash == rules.hash


@pytest.mark.parametrize("word", ["you", "your higher quarter", "when you tested it", "the client"])
@pytest.mark.parametrize("kind", ["tag", "food"])
def test_a_client_s_own_word_is_the_same_for_everybody(
    rules: RuleBook, word: str, kind: str
) -> None:
    phrases = {factor_phrase(f"{kind}:{word}", said_to(rules, one)) for one in Audience}
    assert len(phrases) == 1
    assert word in phrases.pop()


def test_a_practice_s_own_text_without_a_second_wording_is_for_all(rules: RuleBook) -> None:
    own = {"tried": {"changed": "It changed with your coin."}, "odd": "no table"}
    theirs = said_to(rules.model_copy(update={"wording": own}), Audience.PRACTITIONER)
    assert theirs.wording == own


def test_every_second_wording_stands_beside_its_first(rules: RuleBook) -> None:
    for table in rules.wording.values():
        for key in table:
            assert not key.endswith(OF_CLIENT) or key.removesuffix(OF_CLIENT) in table


@pytest.mark.parametrize("door", ["", "paper", "page", "client"])
@pytest.mark.parametrize(
    "own", ["food:you", "tag:the client", "tag:above your range", "tag:run again"]
)
def test_a_ranking_tells_a_client_s_own_word_unchanged_at_every_door(
    rules: RuleBook, samples: ModuleType, own: str, door: Door
) -> None:
    item = samples.hypothesis(factors=(own,), travels_with=(own,))
    with at_door(door):
        ranking = worded(samples.ranking(item), Wording(rules_at_door(rules)))
        text = " ".join(render(ranking_parts(ranking, rules_at_door(rules)), 400).split())
    assert text.casefold().count(rules.factor(own).with_many) > 1
    assert ("time above your range" in text) == (door == "client")
