"""Habits on much the same days are told as one group."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType

from miner.core.messages import Message, message
from miner.core.results import Evidence, Withheld
from miner.render.terminal import render
from miner.rulebook import RuleBook
from miner.words.pattern import inseparable
from miner.words.ranking import ranking_parts


def not_told_apart(factor: str, rules: RuleBook) -> Message:
    phrase = rules.factor(factor).phrase
    return message("hypotheses.not_told_apart", factor=factor, other=phrase)


def _held(samples: ModuleType, factor: str, other: str, rules: RuleBook, **changes: object):
    reason = not_told_apart(other, rules)
    item = replace(
        samples.hypothesis(), factors=(factor,), evidence=Evidence.CANNOT_TELL, family="search",
        withheld=Withheld(reason, 0, 5), p=0.001, difference=12.0,
    )  # fmt: skip
    return replace(item, **changes)


def test_three_habits_in_a_chain_are_one_group_told_once(
    samples: ModuleType, rules: RuleBook
) -> None:
    items = (
        _held(samples, "tag:rain", "tag:wine", rules, p=0.002),
        _held(samples, "late_dinner", "tag:rain", rules),
        _held(samples, "tag:wine", "tag:rain", rules, p=0.003,
              withheld=Withheld(not_told_apart("tag:rain", rules), 1, 5)),
    )  # fmt: skip
    ranking = replace(samples.ranking(), hypotheses=items)
    (group,) = inseparable(ranking, rules)
    assert [item.factors[0] for item in group] == ["late_dinner", "tag:rain", "tag:wine"]
    printed = render(ranking_parts(ranking, rules), 2000)
    assert printed.count("Late dinners, rain days and wine days came on the same days. ") == 1
    assert "We could not tell which habit came before higher waking glucose." in printed
    assert "Any two of them differed on 1 day at most. To tell them apart: 5 days with" in printed


def test_what_would_be_no_hint_alone_is_no_group(samples: ModuleType, rules: RuleBook) -> None:
    pair = (("late_dinner", "tag:rain"), ("tag:rain", "late_dinner"))
    for changes in ({"p": 0.5}, {"difference": 0.1}, {"p": None}, {"outcome": None}):
        given = [dict(changes), dict(changes)]
        if "outcome" in changes:
            given = [{"outcome": "wake_glucose"}, {"outcome": "overnight_mean"}]
        items = tuple(
            _held(samples, own, other, rules, **more)
            for (own, other), more in zip(pair, given, strict=True)
        )
        ranking = replace(samples.ranking(), hypotheses=items)
        assert inseparable(ranking, rules) == []
        assert "which habit" not in render(ranking_parts(ranking, rules), 200)


def test_long_names_are_one_group_as_short_ones_are(samples: ModuleType, rules: RuleBook) -> None:
    one, other = f"food:{'long ' * 20}soup", f"food:{'long ' * 20}stew"
    items = (_held(samples, one, other, rules), _held(samples, other, one, rules))
    ranking = replace(samples.ranking(), hypotheses=items)
    (group,) = inseparable(ranking, rules)
    assert {item.factors[0] for item in group} == {one, other}


def test_that_doses_may_be_behind_a_hint_ends_its_line(
    samples: ModuleType, rules: RuleBook
) -> None:
    hint = replace(
        samples.hypothesis(), evidence=Evidence.HINT, notes=(message("hypotheses.medicine"),)
    )
    printed = render(ranking_parts(replace(samples.ranking(), hypotheses=(hint,)), rules), 2000)
    (line,) = [line for line in printed.splitlines() if "Doses" in line]
    assert line.startswith("1  Short nights")
    assert line.endswith(" others. Doses may be behind it.")
