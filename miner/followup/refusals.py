"""What must not be tested by asking somebody to do it, and why."""

from __future__ import annotations

from collections.abc import Sequence

from miner.core.messages import MinerError
from miner.core.results import CautionText
from miner.rulebook import FactorRule, RuleBook
from miner.tables.columns import fold, whole_words
from miner.tables.referral import held_back


def require_testable(
    factors: Sequence[str],
    unit: str,
    direction: str,
    worse: str,
    rules: RuleBook,
    cautions: Sequence[CautionText],
) -> FactorRule:
    """Return the rule of the one factor that is to be tested.

    Args:
        factors: of the hypothesis.
        unit: "day" or "meal".
        direction: "up" where the outcome was higher with the habit, else "down".
        worse: "higher" or "lower", which way of the outcome is worse.
        rules: the rule books.
        cautions: what has to be said of this client.

    Raises:
        MinerError: it must not be tested, with the reason and what can be done.
    """
    if len(factors) != 1:
        raise MinerError("followup.several_habits")
    name = factors[0]
    rule = rules.factor(name, unit)
    better = _better(direction, worse)
    if names_medicine(_named(name, rule), rules):
        raise MinerError("followup.medicine", name=name)
    if whole_words(rules.cautions.alcohol_words).search(_named(name, rule)):
        raise MinerError("followup.alcohol", name=name)
    if not rule.may_be_tested:
        raise MinerError("followup.not_testable", name=name)
    if better != rule.helpful:
        raise MinerError("followup.worse_side", name=name, helpful=rule.helpful)
    require_not_held(rule.about, cautions)
    return rule


def require_worth_doing(
    factors: Sequence[str],
    unit: str,
    direction: str,
    worse: str,
    rules: RuleBook,
    cautions: Sequence[CautionText],
) -> None:
    """Refuse a change made without a test that is not a good thing in any case.

    Args: as of ``require_testable``; each habit must be worth it.

    Raises:
        MinerError: it is not, or something holds it back, with the reason and what can be done.
    """
    for name in factors:
        rule = rules.factor(name, unit)
        if not rule.worth_doing_anyway:
            raise MinerError("followup.not_worth_anyway", name=name)
        if rule.helpful != _better(direction, worse):
            raise MinerError("followup.worse_side", name=name, helpful=rule.helpful)
    for name in factors:
        require_not_held(rules.factor(name, unit).about, cautions)


def _better(direction: str, worse: str) -> str:
    """Return on which side the outcome was better: with the habit, or without it."""
    return "without" if (direction == "up") == (worse == "higher") else "with"


def require_not_held(topic: str, cautions: Sequence[CautionText]) -> None:
    """Refuse what a caution holds back, with the caution and what lifts it.

    Raises:
        MinerError: something holds habits of that topic back as yet.
    """
    held, lift = held_back(cautions, topic)
    if held:
        why = tuple(one.rests_on or one.said for one in held)
        raise MinerError(f"followup.held_{lift or 'always'}", why=why, topic=topic)


def names_medicine(text: str, rules: RuleBook) -> bool:
    """Say whether the name of a factor, or the words for it, name a medicine."""
    own = fold(text.replace("_", " ").replace(":", " "))
    return whole_words(rules.cautions.medicine_words).search(own) is not None


def _named(name: str, rule: FactorRule) -> str:
    return f"{fold(name.replace('_', ' ').replace(':', ' '))} {fold(rule.phrase)}"
