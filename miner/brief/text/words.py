"""Names of the rule book in words."""

from __future__ import annotations

from miner.brief.text.safe import clean
from miner.errors import MinerError
from miner.results import Evidence, Withheld
from miner.rulebook import RuleBook


def outcome_label(name: str, rules: RuleBook, unit: str = "day") -> str:
    """Return the words of an outcome, or its name where the rule book has none."""
    try:
        return rules.outcome(name, unit).label
    except MinerError:
        return clean(name, 60)


def factor_phrase(name: str, rules: RuleBook, unit: str = "day") -> str:
    """Return the words of a factor, or its name where the rule book has none."""
    try:
        return clean(rules.factor(name, unit).phrase, 60)
    except MinerError:
        return clean(name, 60)


def evidence_words(evidence: Evidence, rules: RuleBook) -> str:
    """Return the one sentence an evidence level may be told in."""
    return str(rules.wording["evidence"][str(evidence)])


def withheld_words(withheld: Withheld) -> str:
    """Return why nothing is said, with the counts where counts decide."""
    if withheld.have is None or withheld.need is None:
        return f"Withheld: {withheld.reason.rstrip('.')}."
    counts = f"have {withheld.have:g}, need {withheld.need:g}"
    return f"Withheld: {withheld.reason.rstrip('.')} ({counts})."


def several(count: int, one: str, many: str | None = None) -> str:
    """Return a count with its noun."""
    return f"{count} {one if count == 1 else many or one + 's'}"
