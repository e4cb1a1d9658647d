"""The picture of a verdict: the units before, and those of the test or the new ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from miner.core.period import Period
from miner.core.results import PairRead
from miner.core.results.follow import FollowPicture, PeriodSeen, PlanPeriod, UnitSeen
from miner.followup.sizes import of_meal
from miner.hypotheses.design import lagged
from miner.ledger import KeptEntry, PlanEntry
from miner.rulebook import RuleBook
from miner.stats.scores import combine
from miner.tables.labels import higher_quarter
from miner.tables.unit_table import UnitTable

Floats = NDArray[np.float64]


def picture_of_new(table: UnitTable, rules: RuleBook, kept: KeptEntry) -> FollowPicture:
    """Return the units that suggested what was watched, and the new ones up to its date.

    Args:
        table: the client's units, made with the kept definitions.
        rules: the rule books with the kept definitions.
        kept: what the ledger keeps.
    """
    first = _later(kept.suggested_by_days_to, 1)
    new = _units(table, rules, kept, Period(first, kept.read_on))
    return replace(_before(table, rules, kept, kept.read_on), new=new)


def picture_of_test(
    table: UnitTable, rules: RuleBook, kept: KeptEntry, plan: PlanEntry, pairs: Sequence[PairRead]
) -> FollowPicture:
    """Return the units that suggested what was tested, and those of the periods of its test.

    Args:
        table: as in :func:`picture_of_new`.
        rules: as in :func:`picture_of_new`.
        kept: as in :func:`picture_of_new`.
        plan: whose periods are shown.
        pairs: as they were read; the periods of one that did not count are not shown.
    """
    table = of_meal(table, plan.meal)
    read = {pair.pair: pair for pair in pairs}
    periods = tuple(
        _period(table, kept.outcome, one, plan.offset_days, read[one.pair])
        for one in plan.periods
        if one.pair in read
    )
    return replace(_before(table, rules, kept, plan.read_on), periods=periods)


def _before(table: UnitTable, rules: RuleBook, kept: KeptEntry, until: str) -> FollowPicture:
    """Return the units that suggested something, and the new sensors up to a day."""
    frame = table.frame[table.frame["usable"].astype(bool) & (table.frame["date"] <= until)]
    worn = frame["sensor"].astype(str)
    new = worn.ne(worn.shift()) & worn.ne("")
    sensors = frame["date"][new].astype(str).tolist()[1:]
    before = _units(table, rules, kept, Period(None, kept.suggested_by_days_to))
    return FollowPicture(before, sensors=tuple(sensors))


def _units(
    table: UnitTable, rules: RuleBook, kept: KeptEntry, period: Period
) -> tuple[UnitSeen, ...]:
    """Return the usable units of a period on which outcome and habit are known.

    High is the higher quarter of these units alone: what came later does not move it.
    """
    inside = period.among(table.frame["date"])
    own = replace(table, frame=table.frame[inside])
    high = higher_quarter(own, kept.outcome, rules).to_numpy(dtype=float) == 1.0
    # a habit may be of an earlier day, which can be before the period
    habits = [
        lagged(table.frame, name, lag)
        if name in table.frame.columns
        else np.full(len(table.frame), np.nan)
        for name, lag in zip(kept.factors, kept.lag_days, strict=True)
    ]
    done = combine(habits)[inside.to_numpy(dtype=bool)]
    values = own.frame[kept.outcome].to_numpy(dtype=float)
    used = own.frame["usable"].to_numpy(dtype=bool) & ~np.isnan(values) & ~np.isnan(done)
    names = own.frame.index.astype(str).tolist()
    return tuple(
        UnitSeen(names[at], float(values[at]), bool(done[at]), high=bool(high[at]))
        for at in np.flatnonzero(used)
    )


def _period(
    table: UnitTable, outcome: str, period: PlanPeriod, offset: int, read: PairRead
) -> PeriodSeen:
    """Return the units of one period of a test, those of its first days not counted."""
    change = period.arm == "change"
    first, last = (_later(day, offset) for day in (period.first, period.last))
    counts_from = _later(first, period.leave_out_days)
    frame = table.frame[table.frame["usable"].astype(bool) & table.frame[outcome].notna()]
    frame = frame[Period(first, last).among(frame["date"])]
    units = zip(frame.index.astype(str), frame[outcome], frame["date"].astype(str), strict=True)
    return PeriodSeen(
        pair=period.pair,
        arm=period.arm,
        first=first,
        last=last,
        mean=read.change if change else read.usual,
        units=tuple(
            UnitSeen(name, float(value), change, counted=day >= counts_from)
            for name, value, day in units
        ),
    )


def _later(day: str, days: int) -> str:
    return (date.fromisoformat(day) + timedelta(days=days)).isoformat()
