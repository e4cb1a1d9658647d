"""Each day as it is drawn: the spread of its readings, and how much was noted."""

from __future__ import annotations

from dataclasses import replace
from math import isnan

import numpy as np
import pandas as pd

from miner.core.results.briefing import DayPicture, NoteAt, Series
from miner.core.results.morning import Noted
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.tables.clockwork import Floats
from miner.tables.day_notes import noted_between
from miner.tables.measures import DayRecords, records_of
from miner.tables.glucose.rises import find_rises
from miner.tables.glucose.trace import Trace
from miner.tables.labels import higher_quarter
from miner.tables.unit_table import UnitTable

STEP_MIN = 15
QUANTILES = (0.05, 0.25, 0.50, 0.75, 0.95)
FEWEST_READINGS = 12
EVER = 2**62


def day_pictures(
    client: Client, table: UnitTable, rules: RuleBook, high_outcome: str | None
) -> tuple[tuple[DayPicture, ...], Series]:
    """Return every day as it is drawn, and the readings of the whole record thinned.

    Args:
        client: as read.
        table: the client's day table.
        rules: the rule books.
        high_outcome: the outcome whose higher quarter is marked; None marks none.
    """
    records = records_of(client, rules)
    trace, days = records.trace, records.days
    if not len(days):
        return (), Series("1970-01-01T00:00", STEP_MIN, ())
    begin = int(min(trace.clock.min(initial=days.start_clock[0]), days.start_clock[0]))
    begin -= begin % (STEP_MIN * 60)
    high = _high(table, rules, high_outcome)
    rises = _unlogged(records)
    frame = table.frame
    pictures = []
    for k, name in enumerate(days.names):
        seen = trace.value[(trace.at >= days.start[k]) & (trace.at < days.end[k])]
        seen = seen[~np.isnan(seen)]
        enough = seen.size >= FEWEST_READINGS
        wake = float(frame["wake_glucose"].iloc[k]) if "wake_glucose" in frame else float("nan")
        pictures.append(
            DayPicture(
                day=name,
                rest_day=bool(frame["rest_day"].iloc[k]),
                usable=bool(frame["usable"].iloc[k]),
                left_out=frame["left_out"].iloc[k],
                sensor=str(frame["sensor"].iloc[k]),
                start=int(days.start_clock[k] - begin) // 60,
                end=int(days.end_clock[k] - begin) // 60,
                spread=tuple(np.quantile(seen, QUANTILES).tolist()) if enough else None,
                wake=None if isnan(wake) else wake,
                high=None if isnan(high[k]) else bool(high[k]),
                meals=len(records.eaten[k].occasions),
                tags=sum(k in at for at in records.tags.rows.values()),
                unlogged_rises=int(rises[k]),
            )
        )
    return tuple(pictures), replace(_series(trace, begin), notes=_notes(client, begin))


def _notes(client: Client, begin: int) -> tuple[NoteAt, ...]:
    def minute(clock: str) -> int:
        return int(np.datetime64(clock, "s").astype(np.int64) - begin) // 60

    def words(item: Noted) -> str:
        return item.own if item.stream == "tags" else item.text

    return tuple(
        NoteAt(item.stream, minute(item.start), minute(item.end), words(item))
        for item in noted_between(client, 0, EVER)
        if not item.date_only
    )


def _high(table: UnitTable, rules: RuleBook, outcome: str | None) -> Floats:
    if outcome is None or outcome not in table.outcomes:
        return np.full(len(table.frame), np.nan)
    return higher_quarter(table, outcome, rules).to_numpy(np.float64)


def _unlogged(records: DayRecords) -> Floats:
    """Return how many rises without a noted meal each day holds; none where no meal is noted."""
    counts = np.zeros(len(records.days))
    eaten = [at / 60 for at in records.food.taken()]
    if not eaten:
        return counts
    trace = records.trace
    rises = find_rises(trace.at / 60, trace.value, np.array(eaten))
    begins = np.array([rise.start * 60 for rise in rises if rise.unlogged], dtype=np.int64)
    place = records.days.of(begins)
    np.add.at(counts, place[place >= 0], 1)
    return counts


def _series(trace: Trace, begin: int) -> Series:
    slot = (trace.clock - begin) // (STEP_MIN * 60)
    known = ~np.isnan(trace.value)
    middle = pd.Series(trace.value[known]).groupby(slot[known]).median()
    values: list[float | None] = [None] * (int(slot.max(initial=-1)) + 1)
    for at, value in middle.items():
        values[int(str(at))] = round(float(value), 1)
    start = str(np.datetime64(begin, "s").astype("datetime64[m]"))
    return Series(start, STEP_MIN, tuple(values))
