"""One day in numbers: its rises, and each measure beside the client's own usual range."""

from __future__ import annotations

from math import isnan

import numpy as np

from miner.core.messages import Message
from miner.core.results.morning import Against, RiseOfDay
from miner.records.check.sensor import lows_over
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.tables.clockwork import HOUR, Floats
from miner.tables.day_notes import noted_between
from miner.tables.measures import DayRecords
from miner.tables.found import Found, because
from miner.tables.glucose.rises import Rise, find_rises
from miner.tables.unit_table import UnitTable

BEFORE = 3 * HOUR
USUAL = (0.025, 0.975)
FEWEST_DAYS = 14
TOLERANCE = HOUR // 2


def newest_whole_day(records: DayRecords, before: int | None = None) -> int | None:
    """Return the place of the newest day whose end the readings reach, or None.

    Args:
        records: the client's streams cut into days.
        before: only days that begin before this one, in days since 1970-01-01.
    """
    if not len(records.days) or not records.trace.at.size:
        return None
    whole = records.days.end <= records.trace.at[-1] + TOLERANCE
    if before is not None:
        whole &= records.days.number < before
    return int(np.flatnonzero(whole)[-1]) if whole.any() else None


def rises_of(client: Client, records: DayRecords, k: int) -> tuple[RiseOfDay, ...]:
    """Return the rises whose peak falls on one day, in order.

    They are those of the whole record, so that each has one start and one height wherever it is
    told.
    """
    begin, finish = records.day(k)
    trace = records.trace
    eaten = np.array(records.food.taken(), dtype=np.float64)
    found = find_rises((trace.at - begin) / 60, trace.value, (eaten - begin) / 60)
    length = (finish - begin) / 60
    return tuple(_told(client, records, begin, rise) for rise in found if 0 <= rise.peak < length)


def _told(client: Client, records: DayRecords, begin: int, rise: Rise) -> RiseOfDay:
    start = begin + round(rise.start * 60)
    peak = begin + round(rise.peak * 60)
    near = noted_between(client, start - BEFORE, max(start, peak))
    before = tuple(item for item in near if not item.date_only)
    meal = "" if isnan(rise.meal) else _clock(records, begin + round(rise.meal * 60))
    return RiseOfDay(
        start=_clock(records, start),
        peak=_clock(records, peak),
        baseline=rise.baseline,
        height=rise.height,
        minutes_to_peak=rise.time_to_peak,
        back=None if isnan(rise.back) else _clock(records, begin + round(rise.back * 60)),
        cut_by=rise.cut_by,
        hills=rise.hills,
        meal=meal,
        unlogged=rise.unlogged,
        before=before,
    )


def _clock(records: DayRecords, at: int) -> str:
    clock = int(records.trace.zones.clock(np.array([at], dtype=np.int64))[0])
    return str(np.datetime64(clock, "s").astype("datetime64[m]"))


def against_usual(table: UnitTable, name: str, rules: RuleBook) -> tuple[Against, ...]:
    """Return each outcome and each measure of one day beside the client's other usable days.

    Args:
        table: the client's day table.
        name: the day.
        rules: the rule books, for the words.
    """
    others = table.frame["usable"].astype(bool) & (table.frame.index != name)
    found = []
    for outcome in table.outcomes:
        rule = rules.outcome(outcome)
        cell = (rule.label, rule.measure_unit, table.reasons.get((name, outcome)))
        column = table.frame[outcome]
        found.append(_beside(outcome, cell, column[name], column[others].to_numpy(np.float64)))
    seen: set[str] = set()
    for factor in table.factors:
        measure = rules.factor(factor)
        if ":" in factor or measure.measure in seen:
            continue
        seen.add(measure.measure)
        cell = (
            _words(measure.measure, rules),
            measure.measure_unit,
            table.reasons.get((name, factor)),
        )
        column = table.measures[factor]
        values = column[others].to_numpy(np.float64)
        found.append(_beside(measure.measure, cell, column[name], values))
    return tuple(found)


def _words(measure: str, rules: RuleBook) -> str:
    return str(rules.wording.get("measure", {}).get(measure, measure.replace("_", " ")))


def _beside(
    name: str, cell: tuple[str, str, Message | None], given: object, others: Floats
) -> Against:
    value = Found(float(given))  # type: ignore[arg-type]
    known = others[~np.isnan(others)]
    enough = known.size >= FEWEST_DAYS
    low, high = np.quantile(known, USUAL).tolist() if enough else (np.nan, np.nan)
    inside = bool(low <= value.value <= high) if enough and value.known else None
    return Against(
        name=name,
        label=cell[0],
        unit=cell[1],
        value=value.value if value.known else None,
        low=low if enough else None,
        high=high if enough else None,
        middle=float(np.median(known)) if enough else None,
        days=int(known.size),
        inside=inside,
        reason="" if value.known else cell[2] or because("not_known"),
        above=int((known > value.value).sum()) if value.known else 0,
        below=int((known < value.value).sum()) if value.known else 0,
    )


def possible_pressure(records: DayRecords, k: int) -> tuple[tuple[int, int, float], ...]:
    """Return the lows of the night that opens a day which may be pressure on the sensor.

    Begin and end on the wall clock, in seconds since 1970-01-01, and the lowest reading in mg/dL.
    """
    night = records.days.night[k]
    trace = records.trace
    if night is None:
        return ()
    near = (trace.at >= night.start - HOUR) & (trace.at <= night.end + HOUR)
    shown = np.flatnonzero(near & ~np.isnan(trace.value))
    minutes, length = (trace.at[shown] - night.start) / 60, (night.end - night.start) / 60
    return tuple(
        (int(trace.clock[shown[low.first]]), int(trace.clock[shown[low.last]]), low.lowest)
        for low in lows_over(minutes, trace.value[shown])
        if minutes[low.first] >= 0 and minutes[low.last] <= length
    )
