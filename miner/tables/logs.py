"""What the logs show: meals not noted or noted late, logs that fade, habits that never vary."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from miner.core.messages import Message, message
from miner.core.results import Finding, Severity
from miner.records.client import STREAMS, Client
from miner.records.columns import MG_DL_PER_MMOL_L
from miner.rulebook import FactorRule, RuleBook
from miner.tables.columns import DAY, HOUR, Times, fold, from_usual, iso_day, seconds, usual_clock
from miner.tables.food.eating import Entry, Food, NoFood, food_of
from miner.tables.glucose.rises import Rise, find_rises
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


def log_noticed(client: Client, food: Food, trace: Trace, nights: Nights) -> list[Finding | None]:
    """Return what the logs of a client show, as notes and questions.

    Args:
        client: as read.
        food: its meal log.
        trace: the used readings.
        nights: the main sleeps.
    """
    if not trace.at.size:
        return []
    logs = {name: seconds(client.used(name)[_CLOCK[name]]) // DAY for name in LOGS}
    first, last = int(trace.clock[0] // DAY), int(trace.clock[-1] // DAY)
    return [
        *_rises(food, trace),
        *(_begins_late(name, days, first, last) for name, days in logs.items()),
        *(_fades(name, days, first, last) for name, days in logs.items()),
        _odd_hours(client),
        _crowded(client),
        _same_minute(client),
        _nights_moved(nights, trace),
    ]


_CLOCK: Mapping[str, str] = {"meals": "clock", "tags": "start_clock"}


def _rises(food: Food, trace: Trace) -> list[Finding | None]:
    eaten = np.array(food.taken()) / 60
    if not eaten.size:
        return []
    rises = find_rises(trace.at / 60, trace.value, eaten)
    late = [rise for rise in rises if 0 < rise.meal - rise.start <= LATE_MIN]
    # what was eaten at an unknown time of a day may be what is missing
    untimed = set(_dates(trace, [at for at, _ in food.untimed]))
    unlogged = [rise for rise in rises if rise.unlogged]
    dates = _dates(trace, [round(rise.start * 60) for rise in unlogged])
    unlogged = [x for x, date in zip(unlogged, dates, strict=True) if date not in untimed]
    return [
        _of_rises(Severity.QUESTION, "unlogged_rises", unlogged, trace),
        _of_rises(Severity.NOTE, "late_meals", late, trace, minutes=LATE_MIN),
    ]


def _dates(trace: Trace, at: list[int]) -> list[int]:
    """Return the dates of instants by the wall clock, as days since 1970."""
    clock = trace.zones.clock(np.array(at, dtype=np.int64))
    return [int(day) for day in clock // DAY]


def _of_rises(
    severity: Severity, code: str, rises: list[Rise], trace: Trace, **values: float
) -> Finding | None:
    """Return a finding about rises, or None without any."""
    if not rises:
        return None
    days = sorted({iso_day(day) for day in _dates(trace, [round(x.start * 60) for x in rises])})
    about: dict[str, Any] = {"stream": "meals", "days": tuple(days), "values": values}
    return Finding(severity, None, None, code, len(rises), **about)


def _begins_late(name: str, days: Times, first: int, last: int) -> Finding | None:
    if not days.size:
        return None
    late = int(days.min()) - first
    if late < max(LATE_START_DAYS, LATE_START_SHARE * (last - first + 1)):
        return None
    about: dict[str, Any] = {"log": name, "day": iso_day(int(days.min()))}
    return Finding(Severity.NOTE, None, None, "log_begins_late", late, values=about)


def _fades(name: str, days: Times, first: int, last: int) -> Finding | None:
    if not days.size:
        return None
    counts = np.bincount(days[(days >= first) & (days <= last)] - first, minlength=last - first + 1)
    begin = int(np.flatnonzero(counts)[0]) if counts.any() else 0
    before, after = counts[begin:-LAST_DAYS], counts[-LAST_DAYS:]
    if len(before) < FEWEST_DAYS_BEFORE or before.mean() < FEWEST_A_DAY:
        return None
    if after.mean() >= FADED_SHARE * before.mean():
        return None
    means = {"before": float(before.mean()), "after": float(after.mean())}
    about: dict[str, Any] = {"log": name, **means, "last": LAST_DAYS}
    return Finding(Severity.QUESTION, None, None, "log_fades", int(after.sum()), values=about)


def _odd_hours(client: Client) -> Finding | None:
    hours = seconds(client.used("meals")["clock"]) % DAY // HOUR
    odd = (hours >= ODD_HOURS[0]) & (hours < ODD_HOURS[1])
    if hours.size < FEWEST_MEALS or odd.mean() < ODD_SHARE:
        return None
    about: dict[str, Any] = {"meals": hours.size, "first": ODD_HOURS[0], "last": ODD_HOURS[1]}
    return Finding(
        Severity.QUESTION, None, None, "meals_at_odd_hours", int(odd.sum()), values=about
    )


def _crowded(client: Client) -> Finding | None:
    days, counts = np.unique(seconds(client.used("meals")["clock"]) // DAY, return_counts=True)
    full = counts > MOST_A_DAY
    if not full.any():
        return None
    each = [
        message("tables.day_with_count", day=iso_day(int(day)), n=int(count))
        for day, count in zip(days[full], counts[full], strict=True)
    ]
    about: dict[str, Any] = {"most": MOST_A_DAY, "each": each}
    return Finding(Severity.QUESTION, None, None, "crowded_days", len(each), values=about)


def _same_minute(client: Client) -> Finding | None:
    """Ask about rows of one minute and one label: other amounts may be a correction."""
    frame = client.used("meals")
    label = frame["label"].fillna("").astype(str).map(fold)
    again = (frame.assign(label=label).duplicated(["time", "label"]) & (label != "")).to_numpy()
    if not again.any():
        return None
    first = frame[again].iloc[0]
    place = str(first["file"]), int(first["row"])
    return Finding(Severity.QUESTION, *place, "same_minute", int(again.sum()))


def _nights_moved(nights: Nights, trace: Trace) -> Finding | None:
    """Ask about sleep that moved by hours from one day to the next while the clock did not."""
    known = sorted(nights.by_day.items())
    middles = np.array([night.middle_clock for _, night in known], dtype=np.int64)
    if len(known) < 2 * NIGHTS_AROUND or trace.zones.journeys():
        return None
    farthest, at = 0.0, 0
    for k in range(NIGHTS_AROUND, len(known) - NIGHTS_AROUND + 1):
        usual = usual_clock(middles[k - NIGHTS_AROUND : k])
        moved = from_usual(middles[k : k + NIGHTS_AROUND], usual or 0) / HOUR
        least = float(np.abs(moved).min()) if abs(np.sign(moved).sum()) == len(moved) else 0.0
        if least > farthest:
            farthest, at = least, k
    if farthest < MOVED_H:
        return None
    about: dict[str, Any] = {"day": iso_day(int(known[at][0])), "hours": farthest}
    return Finding(Severity.QUESTION, None, None, "sleep_moved", values=about)


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


ENOUGH_SHARE = 0.7


def logged_by_day(client: Client, days: Sequence[str]) -> Mapping[str, Logged]:
    """Return each stream's hours or entries on each day.

    Glucose is told in hours that readings stand for, a sampled stream in hours in which the
    tracker measured, a night by the day on which it ends, all else in entries.

    Args:
        client: as read.
        days: ISO dates.
    """
    from miner.core.results.week import Logged

    numbers = np.array(days, dtype="datetime64[D]").astype(np.int64)
    found = {}
    for stream in STREAMS:
        if stream == "glucose":
            trace = trace_of(client)
            hours = _per_day(trace.clock // DAY, trace.minutes / 60, numbers)
            enough = int((hours >= ENOUGH_SHARE * 24).sum())
            found[stream] = Logged("hours", tuple(hours.round(1).tolist()), enough)
        elif stream in client.worn:
            hours = _hours(client.worn[stream], numbers)
            found[stream] = Logged("hours", tuple(hours.round(1).tolist()), int((hours > 0).sum()))
        else:
            frame = client.used(stream)
            name = {"sleep": "end_clock", "meals": "clock"}.get(stream, "start_clock")
            counts = _per_day(seconds(frame[name]) // DAY, np.ones(len(frame)), numbers)
            found[stream] = Logged("entries", tuple(counts.tolist()), int((counts > 0).sum()))
    return found


def _per_day(day: np.ndarray, amount: np.ndarray, days: np.ndarray) -> np.ndarray:
    return np.array([float(amount[day == number].sum()) for number in days])


def _hours(worn: pd.DataFrame, days: np.ndarray) -> np.ndarray:
    start, end = seconds(worn["start_clock"]), seconds(worn["end_clock"])
    inside = [
        np.clip(np.minimum(end, (day + 1) * DAY) - np.maximum(start, day * DAY), 0, None).sum()
        for day in days
    ]
    return np.array(inside, dtype=np.float64) / HOUR
