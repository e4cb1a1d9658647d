"""What a comparison of meals says, in counts."""

from __future__ import annotations

from miner.core.errors import several
from miner.core.results.meals import MealComparison, Repeats
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts


def comparison_sentence(found: MealComparison, rules: RuleBook, display_unit: str = "mg/dL") -> str:
    """Return what a comparison of meals shows, in counts."""
    amounts = Amounts(display_unit)
    label = rules.outcome(found.outcome, "meal").label
    phrase = rules.factor(found.factor, "meal").phrase
    if not found.pairs:
        return (
            f"No similar meals with and without {phrase} can be put side by side: "
            f"{found.with_} with it, {found.without} without, {found.unknown} unknown."
        )
    middle = amounts.difference(found.middle_difference, found.unit)
    same = len(found.pairs) - found.lower - found.higher
    equal = f", the same in {same}" if same else ""
    return (
        f"{several(len(found.pairs), 'pair')} of similar meals with and without {phrase}: "
        f"the {label} was lower with it in {found.lower}, higher in {found.higher}{equal}. "
        f"Middle difference {middle} {amounts.unit(found.unit)}."
    )


def repeats_of_comparison(found: MealComparison, rules: RuleBook, display_unit: str) -> str:
    """Say how much the same meal differs by itself, in the outcome of a comparison."""
    label = rules.outcome(found.outcome, "meal").label
    return repeats_sentence(found.repeats, label, found.unit, Amounts(display_unit))


def repeats_sentence(found: Repeats, label: str, unit: str, amounts: Amounts) -> str:
    """Say how much the same meal differs by itself."""
    if found.spread is None:
        pairs = several(found.pairs, "meal came back", "meals came back")
        return f"How much the same meal differs by itself cannot be told: {pairs} alike."
    return (
        f"The same meal twice differs by about {amounts.size(found.spread, unit)} "
        f"{amounts.unit(unit)} in the {label} "
        f"(SD of the difference, {several(found.pairs, 'pair')})."
    )
