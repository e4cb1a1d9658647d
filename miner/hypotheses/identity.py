"""The name of a hypothesis: unchanged as records grow, changed when a definition changes."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence

from miner.hypotheses.design import Item
from miner.rulebook import FactorRule, OutcomeRule, RuleBook


def identity(items: Sequence[Item], outcome: str, rule: OutcomeRule) -> str:
    """Return eight hexadecimal digits of factors, lags, outcome and their definitions."""
    return _digest(
        sorted((item.factor, item.lag, factor_definition(item.rule)) for item in items),
        outcome, rule,
    )  # fmt: skip


def identity_in_rules(factor: str, outcome: str, unit: str, rules: RuleBook) -> str:
    """Return the ID that one factor with one outcome has in some rule books, before any records.

    Raises:
        MinerError: a name is unknown.
        KeyError: the factor never meets the outcome.
    """
    rule, target = rules.factor(factor, unit), rules.outcome(outcome, unit)
    return _digest([(factor, rule.lag[target.window], factor_definition(rule))], outcome, target)


def _digest(
    parts: Sequence[tuple[str, int, dict[str, object]]], outcome: str, rule: OutcomeRule
) -> str:
    text = json.dumps([parts, outcome, outcome_definition(rule)], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def factor_definition(rule: FactorRule) -> dict[str, object]:
    """Return what makes a factor what it is, words and advice left out."""
    keys = ("unit", "stream", "column", "measure", "measure_unit", "cut", "at", "clock")
    return {key: getattr(rule, key) for key in keys}


def outcome_definition(rule: OutcomeRule) -> dict[str, object]:
    """Return what makes an outcome what it is."""
    return {
        key: getattr(rule, key)
        for key in ("unit", "definition", "measure_unit", "window", "coverage", "worse")
    }
