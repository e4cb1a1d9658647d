"""Habits that came on much the same days: told as one group where together they show something."""

from __future__ import annotations

from collections.abc import Sequence

from miner.core.errors import several
from miner.core.messages import Message
from miner.core.results import Evidence, Hypothesis, Ranking
from miner.rulebook import RuleBook
from miner.words.labels import factor_phrase, outcome_label
from miner.words.sentences import say

_NOT_TOLD_APART = "hypotheses.not_told_apart"


def inseparable(ranking: Ranking, rules: RuleBook) -> list[tuple[Hypothesis, ...]]:
    """Return the groups, the smallest p first, that would be at least a hint as one habit.

    Args:
        ranking: what ``rank`` found.
        rules: the rule books it was made with.
    """
    groups: list[list[Hypothesis]] = []
    for item in sorted(_held_back(ranking, rules), key=lambda one: (one.p, one.factors)):
        joined = [group for group in groups if any(_alike(item, one) for one in group)]
        groups = [group for group in groups if group not in joined]
        groups.append([*(one for group in joined for one in group), item])
    found = [tuple(sorted(group, key=lambda one: (one.p, one.factors))) for group in groups]
    whole = [group for group in found if len(group) > 1]
    return sorted(whole, key=lambda group: (group[0].p, group[0].factors, group[0].outcome))


def group_words(group: Sequence[Hypothesis], rules: RuleBook, unit: str) -> tuple[str, str]:
    """Return which habits came together, and how seldom they differed.

    Args:
        group: of one outcome, at least two.
        rules: the rule books, for the words.
        unit: "day" or "meal".
    """
    phrases = [factor_phrase(item.factors[0], rules, unit) for item in group]
    names = " and ".join([", ".join(phrases[:-1]), phrases[-1]])
    label = outcome_label(group[0].outcome, rules, unit)
    apart = max(int(item.withheld.have or 0) for item in group if item.withheld)
    separate = say(rules, "list", "separate", unit=unit)
    said = (
        say(rules, "list", "came_together", days=several(apart, unit), separate=separate)
        if apart
        else say(rules, "list", "came_together_always", unit=unit, separate=separate)
    )
    return f"{names[:1].upper()}{names[1:]}, with {label}.", said


def _held_back(ranking: Ranking, rules: RuleBook) -> list[Hypothesis]:
    guard = rules.guardrails
    return [
        item
        for item in ranking.hypotheses
        if item.evidence is Evidence.CANNOT_TELL
        and item.family != "fixed"
        and _partner(item) is not None
        and item.p is not None
        and item.p <= guard.hint_level
        and abs(item.difference or 0.0) * item.span
        >= rules.outcome(item.outcome, ranking.unit).smallest_worth_it
    ]


def _partner(item: Hypothesis) -> str | None:
    """Return the name of the habit that a single one cannot be told apart from."""
    reason = item.withheld.reason if item.withheld else ""
    if len(item.factors) > 1 or not isinstance(reason, Message) or reason.code != _NOT_TOLD_APART:
        return None
    return str(reason.values["factor"])


def _alike(one: Hypothesis, other: Hypothesis) -> bool:
    pairs = ((one, other), (other, one))
    return one.outcome == other.outcome and any(_partner(a) == b.factors[0] for a, b in pairs)
