"""What is said of results: their sentences, and names in the words of the rule books."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from miner.core.messages import MinerError
from miner.core.results import Finding, Wording
from miner.words import ask, follow, labels, morning_words, plan, sentences
from miner.words.amounts import Amounts
from miner.words.door import rules_at_door
from miner.words.history import entry_text
from miner.words.meals import comparison_sentence, repeats_of_comparison
from miner.words.safe import clean
from miner.words.said import Label, reason_kind
from miner.words.sentences import ended_words
from miner.words.week import question_sentence, week_message
from miner.words.wording import dated, listed

FEW_NAMED = 5


def sentence_of(fact: Any, name: str) -> Any:
    """Return what is said of a result under a name, such as its ``verdict``; a label in words."""
    if isinstance(fact, Label):
        return _LABELS[fact.kind](fact.rules, **fact.values)
    wording = replace(fact.wording, rules=rules_at_door(fact.wording.rules))
    return _SENTENCES[type(fact).__name__, name](fact, wording)


def _some_of(_: Any, days: Any) -> str:
    more = f" and {len(days) - FEW_NAMED} more" if len(days) > FEW_NAMED else ""
    return f"{', '.join(map(dated, days[:FEW_NAMED]))}{more}"


def finding_line(_: Any, found: Finding, limit: int = 0) -> str:
    """Return a finding in one line, at most so long; 0 for any length."""
    of, file, row = found.as_message(), found.file, found.row
    text = MinerError("steps.of_finding", of=of, file=file, row=row).message
    return clean(text, limit) if limit else text


_LABELS: dict[str, Callable[..., str]] = {
    "factor": lambda rules, name, unit: labels.factor_phrase(name, rules, unit),
    "factors": lambda rules, names, unit: listed(
        [labels.factor_phrase(name, rules, unit) for name in names]
    ),
    "outcome": lambda rules, name, unit: labels.outcome_label(name, rules, unit),
    "evidence": lambda rules, level: labels.evidence_words(level, rules),
    "ended": lambda rules, status: ended_words(status, rules),
    "some_of": _some_of,
    "kind": lambda _, why: reason_kind(why),
    "finding": finding_line,
    "entry": entry_text,
    "comparison": lambda rules, found, display_unit: comparison_sentence(
        found, rules, display_unit
    ),
    "repeats": lambda rules, found, display_unit: repeats_of_comparison(found, rules, display_unit),
    "across": lambda rules, item, **how: ask.across(item, rules, **how),
    "suggestion": lambda rules, row, item, **how: ask.suggestion(row, item, rules, **how),
    "pressure": lambda _, **low: morning_words.pressure_words(**low),
    "night": lambda _, **night: morning_words.night_words(**night),
    "not_as_usual": lambda _, numbers: morning_words.not_as_usual(numbers),
    "about_rises": lambda _, rises, display_unit: morning_words.about_rises(
        rises, Amounts(display_unit)
    ),
    "open_question": lambda rules, item: question_sentence(item, rules),
    "week_message": lambda _, advice, kept: week_message(advice, kept),
}
"""Names in the words of the rule books, by the kind of name."""


def _amounts(wording: Wording) -> Amounts:
    return Amounts(wording.display_unit)


_SENTENCES: dict[tuple[str, str], Callable[[Any, Wording], Any]] = {
    ("Hypothesis", "sentence"): lambda item, by: sentences.sentence(
        item, by.rules, by.unit, _amounts(by)
    ),
    ("Hypothesis", "luck_sentence"): lambda item, by: sentences.luck(item, by.rules, by.days),
    ("KeptResult", "sentence"): lambda item, by: follow.follow_sentence(item, by.rules, by.case),
    ("PlanResult", "sentence"): lambda item, by: plan.result_sentence(
        item, by.rules, by.case or "waiting"
    ),
    ("Ranking", "verdict"): lambda item, by: sentences.verdict(item, by.rules, _amounts(by)),
    ("ErrorRate", "sentence"): lambda item, by: sentences.error_rate_sentence(item, by.rules),
    ("Together", "sentence"): lambda item, by: sentences.together_sentence(item, by.rules, by.unit),
}
