"""What must not be tested by asking somebody to do it, and why."""

from __future__ import annotations

from collections.abc import Sequence

from miner.core.errors import MinerError
from miner.core.results import CautionKind, CautionText
from miner.rulebook import FactorRule, RuleBook
from miner.tables.columns import fold, whole_words

FIRST = (CautionKind.INTAKE, CautionKind.REFERRAL)


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
        raise _no("it is made of several habits", "a test changes one thing at a time",
                  "Keep one of them alone.")  # fmt: skip
    name = factors[0]
    rule = rules.factor(name, unit)
    if names_medicine(_named(name, rule), rules):
        raise _no(f"'{name}' names a medicine", "a habit; medicines belong to the prescriber",
                  "Leave it to the prescriber.")  # fmt: skip
    if whole_words(rules.cautions.alcohol_words).search(_named(name, rule)):
        raise _no(f"'{name}' names alcohol", "a habit that may be asked for on some days",
                  "Watch it instead: --as watch.")  # fmt: skip
    if not rule.may_be_tested:
        raise _no(f"the rule book does not let '{name}' be tested",
                  "a factor whose table in factors.toml says what to try and what helps",
                  "Watch it instead: --as watch.")  # fmt: skip
    better = "without" if (direction == "up") == (worse == "higher") else "with"
    if better != rule.helpful:
        raise _no(f"the better side of '{name}' is not one that people are asked to try",
                  f"better days {rule.helpful} it", "Watch it instead: --as watch.")  # fmt: skip
    for caution in cautions:
        if caution.kind in FIRST:
            raise _no(f"there is a caution first: {caution.text}",
                      "nothing that calls for a clinician", "See to that first.")  # fmt: skip
    return rule


def names_medicine(text: str, rules: RuleBook) -> bool:
    """Say whether the name of a factor, or the words for it, name a medicine."""
    own = fold(text.replace("_", " ").replace(":", " "))
    return whole_words(rules.cautions.medicine_words).search(own) is not None


def _named(name: str, rule: FactorRule) -> str:
    return f"{fold(name.replace('_', ' ').replace(':', ' '))} {fold(rule.phrase)}"


def _no(found: str, expected: str, do: str) -> MinerError:
    return MinerError(f"it cannot be tested: {found}", expected, do)
