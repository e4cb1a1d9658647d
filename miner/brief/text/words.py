"""Names of the rule book in words."""

from __future__ import annotations

from miner.brief.text.safe import clean
from miner.brief.text.safe import name as shortened
from miner.errors import MinerError, several
from miner.results import Evidence, Withheld
from miner.rulebook import RuleBook

TAG = "tag:"

__all__ = (
    "evidence_words",
    "factor_phrase",
    "factor_words",
    "outcome_label",
    "several",
    "withheld_words",
)


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


def withheld_words(withheld: Withheld) -> str:
    """Return why nothing is said, with the counts or the shares where these decide."""
    have, need = withheld.have, withheld.need
    if have is None or need is None:
        return f"Withheld: {withheld.reason.rstrip('.')}."
    if need < 1:
        limit = "most" if have > need else "least"
        counts = f"{100 * have:.0f} %; at {limit} {100 * need:.0f} % would do"
    else:
        counts = f"have {have:g}, need {need:g}"
    return f"Withheld: {withheld.reason.rstrip('.')} ({counts})."
