"""Names of the rule book in words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from miner.core.messages import Message, MinerError, several
from miner.core.results import Evidence, Hypothesis, Withheld
from miner.rulebook import RuleBook
from miner.words.door import door_now
from miner.words.safe import clean
from miner.words.safe import name as shortened
from miner.words.wording import full_date

TAG = "tag:"
FOOD_UNNAMED = "something about meals"
Hidden = Callable[[str], bool]
"""Says of the name of a habit whether it is not to be named."""

__all__ = (
    "FOOD_UNNAMED",
    "Hidden",
    "evidence_of",
    "evidence_words",
    "factor_phrase",
    "factor_words",
    "named",
    "note_words",
    "nothing_hidden",
    "on_a_told_date",
    "outcome_label",
    "reason_words",
    "several",
    "withheld_words",
)


def nothing_hidden(_: str) -> bool:
    """Say that every habit may be named."""
    return False


def outcome_label(name: str, rules: RuleBook, unit: str = "day") -> str:
    """Return the words of an outcome, or its name where the rule book has none."""
    try:
        return rules.outcome(name, unit).label
    except MinerError:
        return clean(name, 60)


def factor_phrase(name: str, rules: RuleBook, unit: str = "day") -> str:
    """Return the words of a factor, or its name where the rule book has none."""
    try:
        return shortened(rules.factor(name, unit).phrase)
    except MinerError:
        return clean(name, 60)


def named(name: str, rules: RuleBook, unit: str, hidden: Hidden) -> str:
    """Return the words of a factor; of a hidden one only that it is about meals."""
    return FOOD_UNNAMED if hidden(name) else factor_phrase(name, rules, unit)


def note_words(note: Message | str, hidden: Hidden) -> str:
    """Return a note or a reason in words; a hidden habit in it is not named."""
    if isinstance(note, Message) and hidden(str(note.values.get("factor", ""))):
        note = replace(note, values={**note.values, "other": FOOD_UNNAMED})
    return str(note)


def factor_name(name: str, rules: RuleBook | None, unit: str = "day", *, limit: int = 60) -> str:
    """Return the name of a factor: as the rule book has it; on a page in its words."""
    if rules is None or door_now() != "page":
        return clean(name, limit)
    return factor_phrase(name, rules, unit)


def factor_words(factor: str, rules: RuleBook, unit: str = "day") -> str:
    """Return units with a factor in words: ``short nights``; of a tag only what it says."""
    if factor.startswith(TAG):
        return shortened(factor.removeprefix(TAG), 40)
    try:
        return shortened(rules.factor(factor, unit).with_many)
    except MinerError:
        return shortened(factor)


def evidence_words(evidence: Evidence, rules: RuleBook) -> str:
    """Return the one sentence an evidence level may be told in."""
    return str(rules.wording["evidence"][str(evidence)])


def evidence_of(item: Hypothesis, rules: RuleBook, *, client: bool = False) -> str:
    """Return the level of a hypothesis; what rests on a date nobody can show says so.

    Args:
        item: what is told.
        rules: the rule books.
        client: the words for a client's page.
    """
    if not on_a_told_date(item):
        return evidence_words(item.evidence, rules)
    words = rules.wording["evidence_if"]["client" if client else "clear"]
    return str(words).format(day=full_date(item.fixed_on or ""))


def on_a_told_date(item: Hypothesis) -> bool:
    """Say whether it is clear only if its question was written down when somebody says it was."""
    return item.evidence is Evidence.CLEAR and item.fixed_proven is False


def withheld_words(withheld: Withheld) -> str:
    """Return that nothing is said, and why."""
    return f"Withheld: {reason_words(withheld)}"


def reason_words(withheld: Withheld, hidden: Hidden = nothing_hidden) -> str:
    """Return why nothing is said, with the counts or the shares where these decide."""
    have, need = withheld.have, withheld.need
    reason = note_words(withheld.reason, hidden).rstrip(".")
    if have is None or need is None:
        return f"{reason}."
    if need < 1:
        limit = "most" if have > need else "least"
        counts = f"{100 * have:.0f} %; at {limit} {100 * need:.0f} % would do"
    else:
        counts = f"have {have:g}, need {need:g}"
    return f"{reason} ({counts})."
