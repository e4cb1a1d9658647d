"""The meal table for people; repeated meals side by side."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from miner.core.messages import several
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts, fixed
from miner.words.document import Parts, heading, paragraph, section, table
from miner.words.safe import clean
from miner.words.said import reason_kind
from miner.words.sentences import factor_words
from miner.words.wording import day_and_month

if TYPE_CHECKING:
    from miner.core.results.meals import MealComparison, MealPair, Repeats
    from miner.words.days import FeatureTable


def repeats_of_comparison(found: MealComparison, rules: RuleBook, display_unit: str) -> str:
    """Say how much the same meal differs by itself, in the outcome of a comparison."""
    label = rules.outcome(found.outcome, "meal").label
    return repeats_sentence(found.repeats, label, found.unit, Amounts(display_unit))


def repeats_sentence(found: Repeats, label: str, unit: str, amounts: Amounts) -> str:
    """Say how much the same meal differs by itself."""
    if found.spread is None:
        pairs = several(found.pairs, "meal came back", "meals came back")
        return f"How much the same meal differs by itself is not known, as {pairs} alike."
    return (
        f"The same meal twice differs by about {amounts.level(found.spread, unit)} "
        f"{amounts.unit(unit)} in the {label} ({several(found.pairs, 'pair')})."
    )


def meals_parts(
    client: str, meals: FeatureTable, rules: RuleBook, repeats: Repeats, display_unit: str = "mg/dL"
) -> Parts:
    """Return a meal table as headings, paragraphs and tables.

    Args:
        client: the client's code.
        meals: one row a meal.
        rules: the rule books, for the units of the outcomes.
        repeats: how much the rise of the same meal differs by itself.
        display_unit: ``mg/dL`` or ``mmol/L``.
    """
    frame, amounts = meals.frame, Amounts(display_unit)
    usable = int(frame["usable"].sum())
    rise = rules.outcome("rise", "meal") if "rise" in meals.outcomes else None
    said: Parts = [heading(f"{client}: {usable} of {several(len(frame), 'meal')} can be used.")]
    if rise is not None:
        text = repeats_sentence(repeats, rise.label, rise.measure_unit, amounts)
        said.append(paragraph(text))
    return [
        *said,
        *section("Meals", _rows_shown(meals, rules, amounts)),
        *section("Not known, and why", _why(meals)),
        *section("Habits, by how many meals", _habits(meals, rules)),
    ]


def comparison_parts(found: MealComparison, rules: RuleBook, display_unit: str = "mg/dL") -> Parts:
    """Return repeated meals side by side."""
    amounts = Amounts(display_unit)
    return [
        heading(f"{found.client}: {found.sentence}"),
        *(paragraph(note) for note in found.notes),
        *section("Nearest pairs first", _pairs(found, rules, amounts)),
    ]


def _rows_shown(meals: FeatureTable, rules: RuleBook, amounts: Amounts) -> Parts:
    units = [(name, rules.outcome(name, "meal").measure_unit) for name in meals.outcomes]
    columns: list[str] = ["meal", "", "label", ">carbs\ng"]
    columns += [
        f">{clean(name, 30).replace('_', chr(10))}\n{amounts.unit(unit)}" for name, unit in units
    ]
    rows = [
        (
            _when(str(name)),
            clean(row["meal"], 10),
            _label(row["label"], row["meal"]),
            fixed(row["carbs_g"], 0),
            *(amounts.level(row[outcome], unit) for outcome, unit in units),
        )
        for name, row in zip(meals.frame.index, meals.frame.to_dict("records"), strict=True)
    ]
    return table(columns, rows)


def _label(label: object, meal: object) -> str:
    """Return a label without the name of the meal before it, which stands beside it."""
    text, name = clean(label, 60), str(meal)
    if name and text.casefold().startswith(name):
        text = text[len(name) :].lstrip(" :,-") or text
    return clean(text, 24)


def _when(unit: str) -> str:
    return f"{day_and_month(unit, short=True):>6} {unit[11:16]}"


def _why(meals: FeatureTable) -> Parts:
    left_out = Counter(reason_kind(why) for why in meals.frame["left_out"] if why)
    usable = set(meals.frame.index[meals.frame["usable"].astype(bool)])
    unknown = Counter(
        reason_kind(why)
        for (name, column), why in meals.reasons.items()
        if column == meals.outcomes[0] and name in usable
    )
    lines = [*left_out.most_common(), *unknown.most_common()]
    return [paragraph(f"{several(count, 'meal')}: {clean(why, 200)}", 2) for why, count in lines]


def _habits(meals: FeatureTable, rules: RuleBook) -> Parts:
    part = meals.frame[meals.frame["usable"].astype(bool)]
    columns: list[str] = ["", ">with", ">without", ">not known"]
    rows = [
        (
            clean(factor_words(name, rules, "meal"), 40),
            *(str(int((part[name] == side).sum())) for side in (1, 0)),
            str(int(part[name].isna().sum())),
        )
        for name in meals.factors
    ]
    return table(columns, rows, gap=2)


def _pairs(found: MealComparison, rules: RuleBook, amounts: Amounts) -> Parts:
    unit = amounts.unit(found.unit)
    columns: list[str] = [
        "with",
        "label",
        f">{unit}",
        "without",
        "label",
        f">{unit}",
        ">gap",
        "also different",
    ]
    return table(columns, [_pair(pair, found, rules, amounts) for pair in found.pairs])


def _pair(
    pair: MealPair, found: MealComparison, rules: RuleBook, amounts: Amounts
) -> tuple[str, ...]:
    sides: list[str] = []
    for side in (pair.with_, pair.without):
        sides += [
            _when(side.unit),
            _label(side.label, side.meal),
            amounts.level(side.value, found.unit),
        ]
    also = ", ".join(rules.factor(name, "meal").phrase for name in pair.also_differs)
    return (*sides, amounts.rounded(pair.difference, found.unit), clean(also, 80))
