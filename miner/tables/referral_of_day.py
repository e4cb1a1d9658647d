"""Readings of one day that call for a licensed clinician."""

from __future__ import annotations

import numpy as np

from miner.core.messages import Message, message
from miner.rulebook import Referral, RuleBook
from miner.tables.clockwork import DAY
from miner.tables.measures import DayRecords
from miner.tables.limits import below
from miner.tables.referral import by_rule, limit_in
from miner.tables.unit_table import UnitTable


def referrals_of_day(
    records: DayRecords, table: UnitTable, k: int, rules: RuleBook, display_unit: str
) -> tuple[Message, ...]:
    """Return what the rule book says of the readings of one day and the night that opens it.

    A rule that needs several days speaks where this day is one of them and there are enough.

    Args:
        records: the client's streams cut into days.
        table: the client's day table.
        k: place of the day.
        rules: the rule books.
        display_unit: "mg/dL" or "mmol/L".
    """
    said = []
    for rule in rules.cautions.referral:
        if rule.kind == "wake_at_least" and "wake_glucose" not in table.outcomes:
            continue
        days = _days(records, table, rule)
        mine = _mine(records, table, k, rule)
        if mine and len(days | {k}) >= rule.days:
            kind = "this_day" if rule.days == 1 else "this_day_among"
            count = message(f"tables.{kind}", n=len(days | {k}))
            said.append(by_rule(rule.say, at=limit_in(rule.at, display_unit), days=count))
    return tuple(said)


def _mine(records: DayRecords, table: UnitTable, k: int, rule: Referral) -> bool:
    if rule.kind == "wake_at_least":
        return bool(table.frame["wake_glucose"].iloc[k] >= rule.at)
    night = records.days.night[k]
    begin, finish = records.day(k)
    begin = begin if night is None else night.start
    low, high = np.searchsorted(records.trace.at, [begin, finish])
    return bool(_hit(records, rule)[low:high].any())


def _days(records: DayRecords, table: UnitTable, rule: Referral) -> set[int]:
    if rule.kind == "wake_at_least":
        return set(np.flatnonzero(table.frame["wake_glucose"] >= rule.at).tolist())
    hit = np.unique(records.trace.clock[_hit(records, rule)] // DAY)
    return set((hit - records.days.number[0]).tolist()) if len(records.days) else set()


def _hit(records: DayRecords, rule: Referral) -> np.ndarray:
    under = below(records.trace.ordered, records.trace.tenths, rule.at)
    return np.asarray(~under if rule.kind == "any_at_least" else under, dtype=bool)
