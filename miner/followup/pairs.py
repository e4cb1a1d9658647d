"""An alternating test as it went: the units of each period, what was followed, the test itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from math import isnan

import numpy as np

from miner.core.results import PairRead, PairsTest, Period
from miner.stats.randomisation import SignFlips, sign_flips
from miner.tables.unit_table import UnitTable

LEVEL = 0.05
CHANGED, NO_CHANGE, UNSETTLED = "changed", "no_change", "not_settled"


def read_pairs(
    table: UnitTable,
    periods: Sequence[Period],
    *,
    outcome: str,
    factor: str | None,
    helpful: str,
    offset_days: int,
    lag_days: int,
    ticks: Mapping[str, str],
) -> tuple[tuple[PairRead, ...], int]:
    """Return every pair, and on how many days a tick and the records say different things.

    A period's mean is over the usable units whose habit day lies in it, the first days that do not
    count left out. A pair was followed where what was planned was done on more than half of the
    days of either period of which anything is known; without a single known day of the change it
    is unknown. A tick says what was done; without one the records do.

    Args:
        table: the client's units, made with the kept definitions.
        periods: of the plan.
        outcome: name of the outcome column.
        factor: name of the factor column; None where records do not show what was done.
        helpful: "with" or "without": what a day of the change looks like in the records.
        offset_days: days from a habit's day to its row of the outcome.
        lag_days: of these, the days from the habit's own row to the outcome's.
        ticks: ISO date -> "yes", "no" or "forgot".
    """
    seen, differ = [], 0
    for pair in sorted({period.pair for period in periods}):
        both = {period.arm: period for period in periods if period.pair == pair}
        change, n_change = _mean(table, both["change"], outcome, offset_days)
        usual, n_usual = _mean(table, both["usual"], outcome, offset_days)
        done, odd = _done(table, both["change"], factor, helpful, offset_days - lag_days, ticks)
        kept_usual = [
            ticks.get(day) == "yes"
            for day in _days(both["usual"], 0)
            if ticks.get(day) in ("yes", "no")
        ]
        differ += odd
        followed = _most(done)
        if followed and kept_usual:
            followed = _most(kept_usual)
        seen.append(PairRead(pair, change, usual, n_change, n_usual, followed))
    return tuple(seen), differ


def test_of(pairs: Sequence[PairRead], seed: int) -> PairsTest:
    """Return the randomisation test of the pairs of which both periods are known."""
    differences = [pair.difference for pair in pairs if pair.difference is not None]
    found: SignFlips = sign_flips(differences, level=LEVEL, seed=seed)
    if isnan(found.p):
        return PairsTest(0, None, None, None, 0)
    return PairsTest(
        len(differences), found.mean, found.interval, found.p, found.orders, found.exact
    )


def status_of(test: PairsTest, worth: float) -> str:
    """Return changed, no_change or not_settled.

    Args:
        test: as planned.
        worth: the difference worth having.
    """
    if test.p is not None and test.p <= LEVEL:
        return CHANGED
    if test.interval is not None and -worth < test.interval[0] and test.interval[1] < worth:
        return NO_CHANGE
    return UNSETTLED


def _mean(table: UnitTable, period: Period, outcome: str, offset: int) -> tuple[float | None, int]:
    days = set(_days(period, offset)[period.leave_out_days :])
    frame = table.frame
    inside = frame["date"].isin(days).to_numpy(dtype=bool) & frame["usable"].to_numpy(dtype=bool)
    values = frame[outcome].to_numpy(dtype=float)[inside]
    known = values[~np.isnan(values)]
    return (float(known.mean()) if known.size else None), int(known.size)


def _done(
    table: UnitTable,
    period: Period,
    factor: str | None,
    helpful: str,
    to_row: int,
    ticks: Mapping[str, str],
) -> tuple[list[bool], int]:
    """Return, for each day of the change of which anything is known, whether it was done."""
    done, differ = [], 0
    for day, row in zip(_days(period, 0), _days(period, to_row), strict=True):
        seen = _recorded(table, row, factor, helpful)
        said = {"yes": True, "no": False}.get(ticks.get(day, ""))
        if said is not None and seen is not None and said != seen:
            differ += 1
        told = seen if said is None else said
        if told is not None:
            done.append(told)
    return done, differ


def _recorded(table: UnitTable, row: str, factor: str | None, helpful: str) -> bool | None:
    if factor is None or factor not in table.frame.columns:
        return None
    values = table.frame[factor].to_numpy(dtype=float)[(table.frame["date"] == row).to_numpy()]
    known = values[~np.isnan(values)]
    if not known.size:
        return None
    share = float((known == (1.0 if helpful == "with" else 0.0)).mean())
    return share > 0.5


def _most(done: Sequence[bool]) -> bool | None:
    return 2 * sum(done) > len(done) if done else None


def _days(period: Period, offset: int) -> list[str]:
    first, last = date.fromisoformat(period.first), date.fromisoformat(period.last)
    return [
        (first + timedelta(days=at + offset)).isoformat() for at in range((last - first).days + 1)
    ]
