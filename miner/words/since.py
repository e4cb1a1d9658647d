"""What was changed after somebody had looked, in words."""

from __future__ import annotations

from collections.abc import Sequence

from miner.core.errors import several
from miner.core.results import Since
from miner.rulebook import RuleBook
from miner.words.sentences import say

FEW_NAMED = 5


def since_words(found: Since, rules: RuleBook, without: str = "", unit: str = "day") -> list[str]:
    """Return every change as a sentence of its own.

    Args:
        found: what was changed.
        rules: the rule books, for the words.
        without: the answer without leaving days out, as a sentence; where days were left out.
        unit: "day" or "meal".
    """
    said = []
    if found.changed:
        said.append(say(rules, "since", "changed", days=some_of(found.changed)))
    if found.left_out:
        said.append(say(rules, "since", "left_out", days=some_of(found.left_out)))
        said += [say(rules, "since", "without", answer=without)] if without else []
    if found.seen:
        said.append(say(rules, "since", "seen", days=some_of(found.seen)))
    if found.settings:
        said.append(say(rules, "since", "settings"))
    if found.over_before:
        count = several(found.over_before, f"new {unit}")
        said.append(say(rules, "since", "over_before", count=count))
    return said


def some_of(days: Sequence[str]) -> str:
    """Return the first few days and how many more there are."""
    more = f" and {len(days) - FEW_NAMED} more" if len(days) > FEW_NAMED else ""
    return f"{', '.join(days[:FEW_NAMED])}{more}"
