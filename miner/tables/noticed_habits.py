"""What was decided about habits: those that never vary, rows that are no food, levels, limits."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np

from miner.core.messages import Message, message
from miner.core.results import Finding, Severity
from miner.records.client import Client
from miner.records.columns import MG_DL_PER_MMOL_L
from miner.rulebook import FactorRule, RuleBook
from miner.tables.food.eating import food_of
from miner.tables.glucose.trace import Trace
from miner.tables.no_food import Entry, NoFood
from miner.tables.stress import stress_of
from miner.tables.unit_table import UnitTable


def habits_noticed(
    client: Client, table: UnitTable, trace: Trace, rules: RuleBook
) -> list[Finding | None]:
    """Return what was decided about habits and limits, and habits that never vary.

    Args:
        client: as read.
        table: the client's day table.
        trace: the used readings.
        rules: the rule books.
    """
    return [
        *_never_varies(client, table, rules),
        *_no_food(food_of(client, rules).no_food),
        _stress_from(client),
        _limits(client, trace),
    ]


def _never_varies(client: Client, table: UnitTable, rules: RuleBook) -> list[Finding | None]:
    usable = table.frame["usable"].astype(bool)
    found: list[Finding | None] = []
    same: list[Message] = []
    for name in (each for each in table.factors if ":" not in each):
        known = table.frame.loc[usable, name].dropna().to_numpy(np.float64)
        if known.size < rules.guardrails.fewest_days_to_describe or np.ptp(known) > 0:
            continue
        rule, always = rules.factor(name), bool(known[0])
        about: dict[str, Any] = {"habit": rule.phrase, "days": known.size}
        if always and (why := _why_always(client, rule)):
            values = about | {"reason": message(why[0]), "next": message(why[1])}
            place: dict[str, Any] = {"stream": rule.stream, "column": rule.column}
            code = "habit_never_varies"
            found.append(
                Finding(Severity.QUESTION, None, None, code, known.size, values=values, **place)
            )
        else:
            same.append(message("tables.same_habit", answer="yes" if always else "no", **about))
    if same:
        found.append(_note("same_every_day", len(same), each=same))
    return found


def _why_always(client: Client, rule: FactorRule) -> tuple[str, str] | None:
    """Return the likely reason why a habit is yes on every day, and what to do, or None."""
    if rule.stream == "activity" and "activity" not in client.worn:
        return "tables.only_movement_read", "tables.map_whole_file"
    if rule.stream == "stress" and "stress" not in client.worn:
        stress = stress_of(client)
        if stress.counts_from is None:
            every = "every_level_is_stress" if stress.levels else "every_row_is_stress"
            return f"tables.{every}", "tables.say_level_of_stress"
    return None


def _no_food(entries: tuple[Entry, ...]) -> list[Finding | None]:
    by_type = [entry for entry in entries if entry.why is NoFood.TYPE]
    by_word = [entry for entry in entries if entry.why is not NoFood.TYPE]
    counts = Counter(entry.why for entry in by_word)
    kinds = [message(f"tables.rows_{why}", n=count) for why, count in sorted(counts.items())]
    return [
        _rows(by_type, "no_food_by_type", "meal"),
        _rows(by_word, "no_food_by_word", "label", kinds=kinds),
    ]


def _rows(entries: list[Entry], code: str, column: str, **values: object) -> Finding | None:
    if not entries:
        return None
    label = entries[0].label
    values |= {"first": message("tables.first_row_says", label=label) if label else ""}
    about: dict[str, Any] = {"stream": "meals", "column": column, "values": values}
    return Finding(Severity.NOTE, *entries[0].row, code, len(entries), **about)


def _stress_from(client: Client) -> Finding | None:
    at = stress_of(client).counts_from
    return None if at is None else _note("stress_from", level=at)


def _limits(client: Client, trace: Trace) -> Finding | None:
    """Tell in which unit the limits of each file are read, where any file is in mmol/L."""
    if not trace.tenths.any():
        return None
    limit = client.settings.range[1]
    tenths, whole = (sorted(set(trace.file[of])) for of in (trace.tenths, ~trace.tenths))
    in_mmol = round(limit / MG_DL_PER_MMOL_L, 1)
    each = [message("tables.above_in_mmol", limit=in_mmol, files=tenths)]
    if whole:
        each.append(message("tables.above_in_mg", limit=limit, files=whole))
    return _note("limits", each=each)


def _note(code: str, count: int = 1, **values: object) -> Finding:
    return Finding(Severity.NOTE, None, None, code, count, values=values)
