"""How an idea is kept, and how an earlier test of it ended."""

from __future__ import annotations

from typing import Any

from miner.core.errors import MinerError
from miner.rulebook import RuleBook
from miner.words.safe import clean
from miner.words.sentences import say


def ended_words(status: str | None, rules: RuleBook) -> str:
    """Return the sentence of a status; one that no rule book knows stands as it is.

    Args:
        status: of a verdict; ``changed_worse`` where a test changed for the worse.
        rules: the rule books, for the words.
    """
    try:
        return say(rules, "tried", str(status))
    except MinerError:
        return clean(status or "", 40)


def way_words(as_: Any, rules: RuleBook) -> str:
    """Return how an idea is kept, as words after "kept"; a way that no rule book knows as it is."""
    try:
        return say(rules, "ways", str(as_))
    except MinerError:
        return clean(as_, 20)
