"""Days to look at: one next to the client's usual, what was noted, pictures, times of day."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import replace
from math import isnan, nan
from typing import Any

import numpy as np
import pandas as pd

from miner.core.results import Place
from miner.core.results.briefing import DayPicture, NoteAt, Series, TimeOfDay
from miner.core.results.morning import Against, Noted, RiseOfDay
from miner.records.check.sensor import lows_over
from miner.records.client import Client
from miner.records.columns import STILL
from miner.rulebook import RuleBook
from miner.tables.cells import because
from miner.tables.columns import DAY, HOUR, Floats, minute_of, seconds
from miner.tables.glucose.rises import Rise, find_rises
from miner.tables.glucose.trace import Trace
from miner.tables.labels import higher_quarter
from miner.tables.measures import DayRecords, records_of
from miner.tables.unit_table import UnitTable


def noted_between(client: Client, begin: int, finish: int) -> tuple[Noted, ...]:
    """Return what was recorded between two instants, in the order of its start.

    Rows that only count steps are left aside; of others everything that overlaps is returned.

    Args:
        client: as read.
        begin: instant, seconds since 1970-01-01.
        finish: instant, not included.
    """
    found: list[Noted] = []
    for stream in ("sleep", "stress", "activity", "meals", "tags"):
        frame = client.used(stream)
        first, last = ("", "") if "time" in frame.columns else ("start_", "end_")
        start, end = (seconds(frame[name[:-1] or "time"]) for name in (first, last))
        inside = (start < finish) & (np.maximum(end, start + 1) > begin)
        lengths = ((end - start) / 60)[inside].tolist()
        for row, whole in zip(frame[inside].to_dict("records"), lengths, strict=True):
            moved = float(row.get("active_min", np.nan))
            length = whole if np.isnan(moved) else moved
            text, place = _noted_words(stream, row, length), (str(row["file"]), int(row["row"]))
            dated, origin = bool(row.get("date_only", False)), client.replaced.get(place)
            shown = 10 if dated else 16
            from_, to = (minute_of(row[f"{name}clock"])[:shown] for name in (first, last))
            kind = str(row["kind"] or stream) if stream == "activity" else stream
            replaced = Place(*origin) if origin else None
            own = _own(stream, row)
            noted = Noted(stream, from_, to, text, *place, replaced, dated, kind, length, own)
            found += [noted] if text else []
    return tuple(sorted(found, key=lambda item: (item.start, item.stream, item.row)))


def _noted_words(stream: str, row: Mapping[Hashable, Any], minutes: float) -> str:
    if stream == "meals":
        told = [f"{row[name]:.0f} g {word}" for name, word in _GRAMS if row[name] == row[name]]
        levels = [f"{row[name]} {word}" for name, word in _LEVELS if row[name]]
        return ", ".join([_own(stream, row), *(told or levels)])
    if stream == "tags":
        return f"tag {_own(stream, row)}"
    if stream == "activity":
        kind = str(row["kind"])
        return "" if kind in ("steps", STILL) else f"{kind or 'activity'}, {minutes:.0f} min"
    if stream == "stress":
        return f"stress, {minutes:.0f} min"
    kind = "nap" if row["kind"] == "nap" else "sleep"
    return f"{kind}, {minutes / 60:.1f} h"


def _own(stream: str, row: Mapping[Hashable, Any]) -> str:
    """Return what a client called a meal or a tag."""
    if stream == "meals":
        return str(row["label"] or row["meal"] or "a meal")
    return str(row["tag"]) if stream == "tags" else ""


_GRAMS = (("carbs_g", "carbohydrate"), ("protein_g", "protein"))
_LEVELS = (("carbs_level", "carbohydrate"), ("protein_level", "protein"))


def last_logged(client: Client, until: int) -> int | None:
    """Return the wall clock of the newest meal or tag before a wall clock, in seconds, or None."""
    clocks = [
        seconds(client.used("meals")["clock"]),
        seconds(client.used("tags")["start_clock"]),
    ]
    every = np.concatenate(clocks)
    every = every[every < until]
    return int(every.max()) if every.size else None


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
    return minute_of(records.trace.zones.clock(np.array([at], dtype=np.int64))[0])


def against_usual(table: UnitTable, name: str, rules: RuleBook) -> tuple[Against, ...]:
    """Return each outcome and each measure of one day next to the client's other usable days.

    Args:
        table: the client's day table.
        name: the day.
        rules: the rule books, for the words.
    """
    others = table.frame["usable"].astype(bool) & (table.frame.index != name)
    asked: dict[str, tuple[str, str, str, pd.Series]] = {}
    for outcome in table.outcomes:
        rule = rules.outcome(outcome)
        asked[outcome] = rule.label, rule.measure_unit, outcome, table.frame[outcome]
    words = rules.wording.get("measure", {})
    for factor in (each for each in table.factors if ":" not in each):
        own = rules.factor(factor)
        label = str(words.get(own.measure, own.measure.replace("_", " ")))
        asked.setdefault(own.measure, (label, own.measure_unit, factor, table.measures[factor]))
    found = []
    for key, (label, unit, column, numbers) in asked.items():
        known, value = numbers[others].dropna().to_numpy(np.float64), float(numbers[name])
        enough, told = known.size >= FEWEST_DAYS, not isnan(value)
        low, high = np.quantile(known, USUAL).tolist() if enough else (nan, nan)
        found.append(
            Against(
                name=key,
                label=label,
                unit=unit,
                value=value if told else None,
                low=low if enough else None,
                high=high if enough else None,
                middle=float(np.median(known)) if enough else None,
                days=int(known.size),
                inside=bool(low <= value <= high) if enough and told else None,
                reason="" if told else table.reasons.get((name, column)) or because("not_known"),
                above=int((known > value).sum()),
                below=int((known < value).sum()),
            )
        )
    return tuple(found)


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
                spread=_spread(seen),
                wake=None if isnan(wake) else wake,
                high=None if isnan(high[k]) else bool(high[k]),
                meals=len(records.eaten[k].occasions),
                tags=sum(k in at for at in records.tags.rows.values()),
                unlogged_rises=int(rises[k]),
            )
        )
    return tuple(pictures), replace(_series(trace, begin), notes=_notes(client, begin))


def _spread(seen: Floats) -> tuple[float, ...] | None:
    return tuple(np.quantile(seen, QUANTILES).tolist()) if seen.size >= FEWEST_READINGS else None


def _notes(client: Client, begin: int) -> tuple[NoteAt, ...]:
    def minute(clock: str) -> int:
        return int(np.datetime64(clock, "s").astype(np.int64) - begin) // 60

    return tuple(
        NoteAt(
            item.stream,
            minute(item.start),
            minute(item.end),
            item.own if item.stream == "tags" else item.text,
        )
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
    return Series(minute_of(begin), STEP_MIN, tuple(values))


PARTS = (("overnight", 0, 6), ("morning", 6, 12), ("afternoon", 12, 18), ("evening", 18, 24))


def times_of_day(client: Client, table: UnitTable, rules: RuleBook) -> tuple[TimeOfDay, ...]:
    """Return the spread of the readings of each part of the day, by the wall clock.

    Only readings of usable days are counted. Minutes above the range are scaled to 24 measured
    hours: 1440 times the measured time above it, over the measured time.

    Args:
        client: as read.
        table: the client's day table.
        rules: the rule books.
    """
    records = records_of(client, rules)
    trace, days = records.trace, records.days
    if not len(days):
        return ()
    day = days.of(trace.at)
    usable = np.append(table.frame["usable"].to_numpy(dtype=bool), False)
    counted = usable[day] & (day >= 0)
    hour = trace.clock % DAY // 3600
    over = trace.above(client.settings.range[1])
    found = []
    for name, first, last in PARTS:
        here = counted & (hour >= first) & (hour < last)
        spread = _spread(trace.value[here & ~np.isnan(trace.value)])
        measured, high = trace.minutes[here], over[here]
        found.append(
            TimeOfDay(
                name,
                first,
                last,
                np.unique(day[here]).size,
                spread,
                float(1440 * measured[high].sum() / measured.sum()) if spread else None,
            )
        )
    return tuple(found)
