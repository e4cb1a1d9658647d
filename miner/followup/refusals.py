"""What must not be tested by asking somebody to do it, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from miner.core.facts import HELD, TOPICS
from miner.core.messages import MinerError
from miner.core.results import CautionText
from miner.rulebook import FactorRule, RuleBook
from miner.tables.columns import fold, whole_words
from miner.tables.referral import held_back


@dataclass(frozen=True, slots=True)
class HeldBack:
    """What holds habits of one client back.

    Attributes:
        cautions: what has to be said of the client.
        folder: the client's folder, for the command that lifts it.
        covers: what a clinician's agreement covers now.
    """

    cautions: Sequence[CautionText] = ()
    folder: Path | str = "CLIENT"
    covers: Sequence[str] = ()

    def require_free(self, topic: str, asked: str = "test") -> None:
        """Refuse what a caution holds back, with the caution, its days and what lifts it.

        Args:
            topic: of ``TOPICS``.
            asked: what the client would be asked for: "test", or "change" without one.

        Raises:
            MinerError: something holds habits of that topic back as yet.
        """
        if self.by(topic):
            values = self.values(topic)
            raise MinerError(f"{HELD}{self.lift(topic)}", asked=asked, **values)

    def by(self, topic: str) -> tuple[CautionText, ...]:
        """Return the cautions that hold habits of a topic back."""
        return held_back(self.cautions, topic)[0]

    def lift(self, topic: str) -> str:
        """Return what opens a topic next: informed, agreed, or always for nothing."""
        return held_back(self.cautions, topic)[1] or "always"

    def values(self, topic: str) -> dict[str, Any]:
        """Return what a text names: why, what it is about, the folder, what to agree to."""
        covers = [each for each in TOPICS if each == topic or each in self.covers]
        own = self.by(topic)
        return {
            "why": [one.reason or one.said for one in own],
            "topic": topic,
            "folder": self.folder,
            "covers": ",".join(covers),
            "by": own,
            "cautions": self.cautions,
        }


def require_testable(
    factors: Sequence[str],
    unit: str,
    direction: str,
    worse: str,
    rules: RuleBook,
    held: HeldBack,
) -> FactorRule:
    """Return the rule of the one factor that is to be tested.

    Args:
        factors: of the hypothesis.
        unit: "day" or "meal".
        direction: "up" where the outcome was higher with the habit, else "down".
        worse: "higher" or "lower", which way of the outcome is worse.
        rules: the rule books.
        held: what holds habits of this client back.

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
    held.require_free(rule.about)
    return rule


def require_worth_doing(
    factors: Sequence[str],
    unit: str,
    direction: str,
    worse: str,
    rules: RuleBook,
    held: HeldBack,
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
        held.require_free(rules.factor(name, unit).about, "change")


def _better(direction: str, worse: str) -> str:
    """Return on which side the outcome was better: with the habit, or without it."""
    return "without" if (direction == "up") == (worse == "higher") else "with"


def names_medicine(text: str, rules: RuleBook) -> bool:
    """Say whether the name of a factor, or the words for it, name a medicine."""
    own = fold(text.replace("_", " ").replace(":", " "))
    return whole_words(rules.cautions.medicine_words).search(own) is not None


def _named(name: str, rule: FactorRule) -> str:
    return f"{fold(name.replace('_', ' ').replace(':', ' '))} {fold(rule.phrase)}"
