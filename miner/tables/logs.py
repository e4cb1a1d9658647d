"""What the logs show: meals not noted or noted late, logs that fade, habits that never vary."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from miner.core.messages import Message, Severity, message
from miner.records.client import STREAMS, Client
from miner.records.columns import MG_DL_PER_MMOL_L
from miner.records.findings import Findings
from miner.rulebook import FactorRule, RuleBook
from miner.tables.columns import DAY, HOUR, Times, fold, from_usual, iso_day, seconds, usual_clock
from miner.tables.food.eating import Food, NoFood, NotEaten, food_of
from miner.tables.glucose.rises import RiseRule, find_rises
from miner.tables.glucose.trace import Trace, trace_of
from miner.tables.movement.tracker import stress_of
from miner.tables.sleep.nights import Nights
from miner.tables.unit_table import UnitTable

if TYPE_CHECKING:
    from miner.core.results.week import Logged

LATE_MIN = 30.0
LAST_DAYS = 7
FEWEST_DAYS_BEFORE = 14
FADED_SHARE = 0.5
LOGS = ("meals", "tags")
FEWEST_A_DAY = 1.0
LATE_START_DAYS, LATE_START_SHARE = 5, 0.25
ODD_HOURS, ODD_SHARE, FEWEST_MEALS = (1, 5), 0.3, 10
MOST_A_DAY = 40
MOVED_H, NIGHTS_AROUND = 4.0, 3


def log_noticed(found: Findings, client: Client, food: Food, nights: Nights) -> None:
    """Add what the logs of a client show, as notes and questions.

    Args:
        found: the findings so far.
        client: as read.
        food: its meal log.
        nights: the main sleeps.
    """
    trace = trace_of(client)
    if not trace.at.size:
        return
    logs = {name: seconds(client.used(name)[_CLOCK[name]]) // DAY for name in LOGS}
    first, last = int(trace.clock[0] // DAY), int(trace.clock[-1] // DAY)
    _rises(found, food, trace)
    for name, days in logs.items():
        _begins_late(found, name, days, first, last)
    for name, days in logs.items():
        _fades(found, name, days, first, last)
    _hours(found, client)
    _same_minute(found, client)
    _nights_moved(found, nights, trace)


_CLOCK: Mapping[str, str] = {"meals": "clock", "tags": "start_clock"}


def _rises(found: Findings, food: Food, trace: Trace) -> None:
    eaten = np.array(food.taken()) / 60
    if not eaten.size:
        return
    rises = find_rises(trace.at / 60, trace.value, eaten)
    date = dict(zip(rises, _dates(trace, [round(x.start * 60) for x in rises]), strict=True))
    # what was eaten at an unknown time of a day may be what is missing
    untimed = set(_dates(trace, [at for at, _ in food.untimed]))
    unlogged = [rise for rise in rises if rise.unlogged and date[rise] not in untimed]
    late = [rise for rise in rises if 0 < rise.meal - rise.start <= LATE_MIN]
    for severity, code, some, values in (
        (Severity.QUESTION, "unlogged_rises", unlogged, {"least": RiseRule().unlogged_height}),
        (Severity.NOTE, "late_meals", late, {"minutes": LATE_MIN}),
    ):
        days = tuple(iso_day(day) for day in sorted({date[rise] for rise in some}))
        about: dict[str, Any] = {"stream": "meals", "days": days, "values": values}
        if some:
            found.add(severity, code, count=len(some), **about)


def _dates(trace: Trace, at: list[int]) -> list[int]:
    """Return the dates of instants by the wall clock, as days since 1970."""
    clock = trace.zones.clock(np.array(at, dtype=np.int64))
    return [int(day) for day in clock // DAY]


def _begins_late(found: Findings, name: str, days: Times, first: int, last: int) -> None:
    late = int(days.min()) - first if days.size else 0
    if days.size and late >= max(LATE_START_DAYS, LATE_START_SHARE * (last - first + 1)):
        values = {"log": name, "day": iso_day(int(days.min()))}
        found.add(Severity.NOTE, "log_begins_late", count=late, values=values)


def _fades(found: Findings, name: str, days: Times, first: int, last: int) -> None:
    if not days.size:
        return
    counts = np.bincount(days[(days >= first) & (days <= last)] - first, minlength=last - first + 1)
    begin = int(np.flatnonzero(counts)[0]) if counts.any() else 0
    before, after = counts[begin:-LAST_DAYS], counts[-LAST_DAYS:]
    if len(before) < FEWEST_DAYS_BEFORE or before.mean() < FEWEST_A_DAY:
        return
    if after.mean() < FADED_SHARE * before.mean():
        means = {"before": float(before.mean()), "after": float(after.mean())}
        values = {"log": name, **means, "last": LAST_DAYS}
        found.add(Severity.QUESTION, "log_fades", count=int(after.sum()), values=values)


def _hours(found: Findings, client: Client) -> None:
    """Ask about meals of which many are eaten at night, and about days with very many."""
    clock = seconds(client.used("meals")["clock"])
    hours = clock % DAY // HOUR
    odd = (hours >= ODD_HOURS[0]) & (hours < ODD_HOURS[1])
    if hours.size >= FEWEST_MEALS and odd.mean() >= ODD_SHARE:
        values: dict[str, Any] = {"meals": hours.size, "first": ODD_HOURS[0], "last": ODD_HOURS[1]}
        found.add(Severity.QUESTION, "meals_at_odd_hours", count=int(odd.sum()), values=values)
    days, counts = np.unique(clock // DAY, return_counts=True)
    full = counts > MOST_A_DAY
    each = [
        message("tables.day_with_count", day=iso_day(int(day)), n=int(count))
        for day, count in zip(days[full], counts[full], strict=True)
    ]
    if each:
        values = {"most": MOST_A_DAY, "each": each}
        found.add(Severity.QUESTION, "crowded_days", count=len(each), values=values)


def _same_minute(found: Findings, client: Client) -> None:
    """Ask about rows of one minute and one label: other amounts may be a correction."""
    frame = client.used("meals")
    label = frame["label"].fillna("").astype(str).map(fold)
    again = frame[frame.assign(label=label).duplicated(["time", "label"]) & (label != "")]
    if len(again):
        found.whole(Severity.QUESTION, "same_minute", again)


def _nights_moved(found: Findings, nights: Nights, trace: Trace) -> None:
    """Ask about sleep that moved by hours from one day to the next while the clock did not."""
    known = sorted(nights.by_day.items())
    middles = np.array([night.middle_clock for _, night in known], dtype=np.int64)
    if len(known) < 2 * NIGHTS_AROUND or trace.zones.journeys():
        return
    farthest, at = 0.0, 0
    for k in range(NIGHTS_AROUND, len(known) - NIGHTS_AROUND + 1):
        usual = usual_clock(middles[k - NIGHTS_AROUND : k])
        moved = from_usual(middles[k : k + NIGHTS_AROUND], usual or 0) / HOUR
        least = float(np.abs(moved).min()) if abs(np.sign(moved).sum()) == len(moved) else 0.0
        farthest, at = max((farthest, at), (least, k), key=lambda pair: pair[0])
    if farthest >= MOVED_H:
        values = {"day": iso_day(int(known[at][0])), "hours": farthest}
        found.add(Severity.QUESTION, "sleep_moved", values=values)


def habits_noticed(found: Findings, client: Client, table: UnitTable, rules: RuleBook) -> None:
    """Add what was decided about habits and limits, and habits that never vary.

    Args:
        found: the findings so far.
        client: as read.
        table: the client's day table.
        rules: the rule books.
    """
    _never_varies(found, client, table, rules)
    _no_food(found, food_of(client, rules).no_food)
    at = stress_of(client).counts_from
    if at is not None:
        found.add(Severity.NOTE, "stress_from", values={"level": at})
    _limits(found, client)


def _never_varies(found: Findings, client: Client, table: UnitTable, rules: RuleBook) -> None:
    usable = table.frame["usable"].astype(bool)
    same: list[Message] = []
    for name in (each for each in table.factors if ":" not in each):
        known = table.frame.loc[usable, name].dropna().to_numpy(np.float64)
        if known.size < rules.guardrails.fewest_days_to_describe or np.ptp(known) > 0:
            continue
        rule, always = rules.factor(name), bool(known[0])
        about: dict[str, Any] = {"habit": rule.phrase, "days": known.size}
        if always and (why := _why_always(client, rule)):
            values = about | {"reason": message(why[0]), "next": message(why[1])}
            about = {"stream": rule.stream, "column": rule.column, "count": known.size}
            found.add(Severity.QUESTION, "habit_never_varies", values=values, **about)
        else:
            same.append(message("tables.same_habit", answer="yes" if always else "no", **about))
    if same:
        found.add(Severity.NOTE, "same_every_day", count=len(same), values={"each": same})


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


def _no_food(found: Findings, entries: tuple[NotEaten, ...]) -> None:
    by_type = [entry for entry in entries if entry.why is NoFood.TYPE]
    by_word = [entry for entry in entries if entry.why is not NoFood.TYPE]
    counts = Counter(entry.why for entry in by_word)
    kinds = [message(f"tables.rows_{why}", n=count) for why, count in sorted(counts.items())]
    _rows(found, by_type, "no_food_by_type", "meal")
    _rows(found, by_word, "no_food_by_word", "label", kinds=kinds)


def _rows(
    found: Findings, entries: list[NotEaten], code: str, column: str, **values: object
) -> None:
    if entries:
        label, (file, row) = entries[0].label, entries[0].row
        values |= {"first": message("tables.first_row_says", label=label) if label else ""}
        about: dict[str, Any] = {"stream": "meals", "column": column, "values": values}
        found.add(Severity.NOTE, code, file=file, row=row, count=len(entries), **about)


def _limits(found: Findings, client: Client) -> None:
    """Tell in which unit the limits of each file are read, where any file is in mmol/L."""
    trace, limit = trace_of(client), client.settings.range[1]
    if not trace.tenths.any():
        return
    tenths, whole = (sorted(set(trace.file[of])) for of in (trace.tenths, ~trace.tenths))
    in_mmol = round(limit / MG_DL_PER_MMOL_L, 1)
    each = [message("tables.above_in_mmol", limit=in_mmol, files=tenths)]
    if whole:
        each.append(message("tables.above_in_mg", limit=limit, files=whole))
    found.add(Severity.NOTE, "limits", values={"each": each})


ENOUGH_HOURS = 0.7 * 24


def logged_by_day(client: Client, days: Sequence[str]) -> Mapping[str, Logged]:
    """Return each stream's hours or entries on each day.

    Glucose is reported in hours that readings stand for, a sampled stream in hours in which the
    tracker measured, a night by the day on which it ends, all else in entries.

    Args:
        client: as read.
        days: ISO dates.
    """
    from miner.core.results.week import Logged

    numbers = np.array(days, dtype="datetime64[D]").astype(np.int64)
    found = {}
    for stream in STREAMS:
        kind, enough = "hours", 0.0
        if stream == "glucose":
            trace = trace_of(client)
            amount, enough = _per_day(trace.clock // DAY, trace.minutes / 60, numbers), ENOUGH_HOURS
        elif stream in client.worn:
            amount = _worn(client.worn[stream], numbers)
        else:
            frame, kind = client.used(stream), "entries"
            name = {"sleep": "end_clock", "meals": "clock"}.get(stream, "start_clock")
            amount = _per_day(seconds(frame[name]) // DAY, np.ones(len(frame)), numbers)
        days_with = int((amount >= enough).sum() if enough else (amount > 0).sum())
        found[stream] = Logged(kind, tuple(amount.round(1).tolist()), days_with)
    return found


def _per_day(day: np.ndarray, amount: np.ndarray, days: np.ndarray) -> np.ndarray:
    return np.array([float(amount[day == number].sum()) for number in days])


def _worn(worn: pd.DataFrame, days: np.ndarray) -> np.ndarray:
    start, end = seconds(worn["start_clock"]), seconds(worn["end_clock"])
    inside = [
        np.clip(np.minimum(end, (day + 1) * DAY) - np.maximum(start, day * DAY), 0, None).sum()
        for day in days
    ]
    return np.array(inside, dtype=np.float64) / HOUR
