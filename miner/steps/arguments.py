"""What a step was given, checked: whoever calls it, a door or a notebook."""

from __future__ import annotations

from typing import Any

from miner.core.errors import MinerError, closest
from miner.rulebook import RuleBook

MIN_DRAWS, MAX_DRAWS = 99, 1_000_000
MAX_SEED = 2**32 - 1


def outcome_of(rules: RuleBook, name: Any, unit: str) -> str:
    """Return the name of an outcome of one unit.

    Raises:
        MinerError: the rule books have no such outcome.
    """
    known = list(rules.outcomes_of(unit))
    if name not in known:
        code = "steps.no_outcome" if known else "steps.no_outcome_at_all"
        raise MinerError(code, name=name, unit=unit, known=known, close=closest(str(name), known))
    return str(name)


def word(name: str, value: Any) -> str:
    """Return a text.

    Raises:
        MinerError: it is none.
    """
    if not isinstance(value, str):
        raise MinerError("steps.not_text", name=name, value=repr(value))
    return value


def whole_number(name: str, value: Any, least: int, most: int) -> int:
    """Return a whole number within its bounds.

    Raises:
        MinerError: it is none, or lies outside.
    """
    if isinstance(value, bool) or not hasattr(value, "__index__") or not least <= value <= most:
        raise MinerError("steps.not_in_range", name=name, value=repr(value), least=least, most=most)
    return int(value)


def draws_of(draws: Any, rules: RuleBook) -> int:
    """Return how many shuffles to compare with: the rule book's where none are asked for."""
    if draws is None:
        return rules.guardrails.draws
    return whole_number("draws", draws, MIN_DRAWS, MAX_DRAWS)


def seed_of(seed: Any) -> int:
    """Return the seed of everything drawn."""
    return whole_number("seed", seed, 0, MAX_SEED)
