"""What is said of results: their sentences, and names in the words of the rule books."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import ceil, floor
from typing import Any

from miner.core.messages import MinerError, several
from miner.core.results import ErrorRate, Finding, Together, Wording
from miner.rulebook import RuleBook
from miner.words import day, follow, pattern, plan, sentences
from miner.words.amounts import Amounts
from miner.words.history import entry_text
from miner.words.meals import repeats_of_comparison
from miner.words.safe import clean
from miner.words.said import Label, reason_kind, rules_at_door
from miner.words.sentences import comparison_sentence
from miner.words.week import question_sentence, week_message
from miner.words.wording import dated, few, listed, say

FEW_NAMED = 5


def sentence_of(fact: Any, name: str) -> Any:
    """Return what is said of a result under a name, such as its ``verdict``; a label in words."""
    if not isinstance(fact, Label):
        wording = replace(fact.wording, rules=rules_at_door(fact.wording.rules))
        return _SENTENCES[type(fact).__name__, name](fact, wording)
    if fact.kind in _WITHOUT_RULES:
        return _WITHOUT_RULES[fact.kind](**fact.values)
    return _BY_RULES[fact.kind](rules=fact.rules, **fact.values)


def _some_of(days: Any) -> str:
    return few([dated(day) for day in days], FEW_NAMED)


def finding_line(found: Finding, limit: int = 0) -> str:
    """Return a finding in one line, at most so long; 0 for any length."""
    of, file, row = found.as_message(), found.file, found.row
    text = MinerError("steps.of_finding", of=of, file=file, row=row).message
    return clean(text, limit) if limit else text


def _factors(names: Any, rules: RuleBook, unit: str) -> str:
    return listed([sentences.factor_phrase(name, rules, unit) for name in names])


_BY_RULES: dict[str, Callable[..., str]] = {
    "factor": sentences.factor_phrase,
    "factors": _factors,
    "outcome": sentences.outcome_label,
    "evidence": sentences.evidence_words,
    "ended": sentences.ended_words,
    "entry": entry_text,
    "comparison": comparison_sentence,
    "repeats": repeats_of_comparison,
    "across": sentences.across,
    "suggestion": sentences.suggestion,
    "open_question": question_sentence,
}
"""Names in the words of the rule books, by the kind of name."""

_WITHOUT_RULES: dict[str, Callable[..., str]] = {
    "some_of": _some_of,
    "kind": reason_kind,
    "finding": finding_line,
    "pressure": day.pressure_words,
    "night": day.night_words,
    "not_as_usual": day.not_as_usual,
    "about_rises": day.about_rises,
    "week_message": week_message,
}


def _amounts(wording: Wording) -> Amounts:
    return Amounts(wording.display_unit)


_SENTENCES: dict[tuple[str, str], Callable[[Any, Wording], Any]] = {
    ("Hypothesis", "sentence"): lambda item, by: pattern.sentence(
        item, by.rules, by.unit, _amounts(by)
    ),
    ("Hypothesis", "luck_sentence"): lambda item, by: sentences.luck(item, by.rules),
    ("KeptResult", "sentence"): lambda item, by: follow.follow_sentence(item, by.rules, by.case),
    ("PlanResult", "sentence"): lambda item, by: plan.result_sentence(
        item, by.rules, by.case or "waiting"
    ),
    ("Ranking", "verdict"): lambda item, by: sentences.verdict(item, by.rules, _amounts(by)),
    ("ErrorRate", "sentence"): lambda item, by: error_rate_sentence(item, by.rules),
    ("Together", "sentence"): lambda item, by: together_sentence(item, by.rules, by.unit),
}


OFTEN = 2
"""How many times the claim level is so often that a client's own week may be behind it."""


_UNDEFINED = {
    "stats.no_factors": "no_habit",
    "stats.no_factor_varies": "no_habit",
    "stats.average_never_wrong": "no_change",
}
"""Which sentence tells why it is undefined whether all habits predict anything, by its reason."""


def together_sentence(found: Together, rules: RuleBook, unit: str) -> str:
    """Return whether all habits together predicted later units better than the average did."""
    if found.better is None:
        key = _UNDEFINED.get(getattr(found.reason, "code", ""), "too_few")
        return say(rules, "together", key, units=f"{unit}s")
    key = "better" if found.better else "no_better"
    return say(rules, "together", key, units=f"{unit}s")


def error_rate_sentence(found: ErrorRate, rules: RuleBook) -> str:
    """Return how often this analysis would claim something where nothing is true."""
    if found.worlds == 0 or found.any_claim_interval is None:
        need = rules.guardrails.fewest_days_to_rank
        usable = several(found.usable_units, "usable day")
        return say(rules, "error_rate", "too_few", usable=usable, need=need)
    low, high = found.any_claim_interval
    told = say(
        rules,
        "error_rate",
        "rate",
        records=several(found.worlds, "record"),
        claimed=found.claimed,
        low=floor(100 * low),
        high=ceil(100 * high),
    )
    if not found.moved:
        return told
    often = found.moved_claimed > OFTEN * found.nominal * found.moved
    weeks = say(
        rules,
        "error_rate",
        "weeks_often" if often else "weeks",
        claimed=found.moved_claimed,
        records=several(found.moved, "record"),
    )
    return f"{told} {weeks}"
