"""The meal table of a client, and pairs of meals that come back."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np

from miner.core.messages import Message, MinerError, by_rules, closest, message
from miner.core.results.meals import MealComparison, MealPair, MealSide, Repeats
from miner.core.unit import Unit
from miner.records.client import Client
from miner.records.synonyms import standing_for
from miner.rulebook import RuleBook
from miner.steps.client_ledger import ledger_of
from miner.steps.looks import Looked, days_used, remember_look
from miner.steps.opening import opened, table_of
from miner.tables.food.foods import pairs_of, repeats_of
from miner.tables.glucose.trace import Trace, trace_of
from miner.tables.unit_table import UnitTable

FEWEST_FOR_A_SPREAD = 3
ENOUGH_PAIRS = 5
CURVE_FROM_MIN, CURVE_TO_MIN = -15, 120
BY_MEAL = {
    **{f"walk_after_{meal}": ("walk_after", meal) for meal in ("breakfast", "lunch", "dinner")},
    "high_carb_dinner": ("high_carb", "dinner"),
    "late_dinner": ("late_meal", "dinner"),
}
"""Habits of a day that are about one meal: what they are by meal, and which meal."""


def repeats(table: UnitTable, outcome: str = "rise", factor: str | None = None) -> Repeats:
    """Return how much the same meal differs by itself: the SD of the difference of two."""
    apart = repeats_of(table, outcome, factor)
    spread = float(np.sqrt(np.mean(apart**2))) if apart.size >= FEWEST_FOR_A_SPREAD else None
    return Repeats(int(apart.size), spread)


def compare_meals(
    client: Client | Path | str,
    factor: str,
    rules: RuleBook | None = None,
    *,
    outcome: str = "rise",
    table: UnitTable | None = None,
    remember: bool = False,
    now: datetime | None = None,
) -> MealComparison:
    """Return similar meals with and without a factor side by side; it is no test.

    Args:
        client: as read, or its folder.
        factor: a factor of the meal table, or one of a day that is about one meal, such as
            ``walk_after_dinner``: then meals of that kind are compared.
        rules: the rule books; by default those that apply to the client's folder.
        outcome: an outcome of the meal table.
        table: the client's meal table, where it is there already.
        remember: write to the client's ledger that this was looked at.
        now: time of the ledger's entry; by default the clock's.

    Raises:
        MinerError: these records hold no such factor or outcome.
    """
    client, books = opened(client, rules)
    factor, meal = BY_MEAL.get(factor, (standing_for(factor, client.settings), ""))
    table = table or table_of(client, books, Unit.MEAL)
    _known(factor, table.factors, "factor")
    _known(outcome, table.outcomes, "outcome")
    of_kind = (table.frame["meal"] == meal) | (not meal)
    table = replace(table, frame=table.frame.assign(**{factor: table.frame[factor].where(of_kind)}))
    trace = trace_of(client)
    pairs = tuple(
        _pair(table, trace, outcome, pair.with_, pair.without, pair.similar_by, pair.also_differs)
        for pair in pairs_of(table, factor, outcome)
    )
    apart = np.array([pair.difference for pair in pairs])
    known = table.frame[of_kind & table.frame["usable"] & table.frame[outcome].notna()][factor]
    found = MealComparison(
        client=client.settings.code,
        factor=factor,
        outcome=outcome,
        unit=books.outcome(outcome, "meal").measure_unit,
        pairs=pairs,
        lower=int((apart < 0).sum()),
        higher=int((apart > 0).sum()),
        middle_difference=float(np.median(apart)) if apart.size else None,
        repeats=repeats(table, outcome, factor),
        with_=int((known == 1).sum()),
        without=int((known == 0).sum()),
        unknown=int(known.isna().sum()),
    )
    if remember:
        look = Looked("compare", table.unit, days_used(table), (factor,), outcome)
        remember_look(client, ledger_of(client), look, now)
    only = [message("steps.only_meals_of", meal=meal)] if meal else []
    return _told(found, books, client.settings.display_unit, only)


def _told(
    found: MealComparison, rules: RuleBook, display_unit: str, notes: list[Message]
) -> MealComparison:
    """Return a comparison with its sentence and its notes."""
    said = {"found": found, "display_unit": display_unit}
    notes = [*notes, by_rules(rules, "labels.repeats", **said)]
    if len(found.pairs) < ENOUGH_PAIRS:
        notes.append(message("steps.few_pairs", enough=ENOUGH_PAIRS))
    notes += [message("steps.pairs_are_no_test")] if found.pairs else []
    sentence = by_rules(rules, "labels.comparison", **said)
    return replace(found, sentence=sentence, notes=tuple(notes))


def _known(name: str, known: tuple[str, ...], what: str) -> None:
    if name not in known:
        raise MinerError(
            "steps.not_by_meal", what=what, name=name, known=known, close=closest(name, known)
        )


def _pair(
    table: UnitTable,
    trace: Trace,
    outcome: str,
    with_: str,
    without: str,
    similar_by: str,
    also: tuple[str, ...],
) -> MealPair:
    one, other = (_side(table, trace, outcome, name) for name in (with_, without))
    return MealPair(one, other, one.value - other.value, similar_by, also)


def _side(table: UnitTable, trace: Trace, outcome: str, name: str) -> MealSide:
    row = table.frame.loc[[name]].to_dict("records")[0]
    grams = float(row["carbs_g"])
    start = int(row["start"].timestamp())
    minutes = (trace.clock - start) / 60
    near = (minutes >= CURVE_FROM_MIN) & (minutes <= CURVE_TO_MIN) & ~np.isnan(trace.value)
    above = trace.value[near] - float(row["baseline"])
    curve = tuple(zip(minutes[near].tolist(), np.round(above, 6).tolist(), strict=True))
    return MealSide(
        unit=name,
        meal=str(row["meal"]),
        label=str(row["label"]),
        carbs_g=None if np.isnan(grams) else grams,
        value=float(row[outcome]),
        curve=curve if np.isfinite(row["baseline"]) else (),
    )
