"""What the logs themselves show: meals not noted or noted late, logs that begin late or fade."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from miner.core.errors import several
from miner.core.results import Finding, Severity
from miner.records.client import Client
from miner.tables.clockwork import DAY, HOUR, Times, from_usual, iso_day, seconds, usual_clock
from miner.tables.columns import fold
from miner.tables.eating import Food
from miner.tables.nights import Nights
from miner.tables.rises import Rise, find_rises
from miner.tables.trace import Trace

SHOWN = 5
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
        _told(
            ("unlogged_rises", "rise"),
            "of 30 mg/dL or more with no meal noted within an hour before or during",
            "a meal noted for each",
            "Ask what was eaten then; leave those rises out of any talk about meals.",
            unlogged,
            trace,
            Severity.QUESTION,
        ),
        _told(
            ("late_meals", "meal"),
            f"noted up to {LATE_MIN:g} minutes after a rise had begun",
            "meals noted when they begin",
            "Nothing to do: the time of the log is kept as it stands.",
            late,
            trace,
            Severity.NOTE,
        ),
    ]


def _dates(trace: Trace, at: list[int]) -> list[int]:
    """Return the dates of instants by the wall clock, as days since 1970."""
    clock = trace.zones.clock(np.array(at, dtype=np.int64))
    return [int(day) for day in clock // DAY]


def _told(
    of: tuple[str, str],
    rest: str,
    expected: str,
    do: str,
    rises: list[Rise],
    trace: Trace,
    severity: Severity,
) -> Finding | None:
    """Return a finding about rises, or None without any; ``of`` is its code and what is counted."""
    if not rises:
        return None
    days = sorted({iso_day(day) for day in _dates(trace, [round(x.start * 60) for x in rises])})
    listed = ", ".join(days[-SHOWN:]) + (
        f" and {len(days) - SHOWN} more" if len(days) > SHOWN else ""
    )
    short = f"{several(len(rises), of[1])} {rest}"
    told = f"{short}. On {several(len(days), 'day')}: {listed}"
    return Finding.worded(
        severity,
        None,
        None,
        told,
        expected,
        do,
        len(rises),
        short=short,
        code=of[0],
        stream="meals",
        days=tuple(days),
    )


def _begins_late(name: str, days: Times, first: int, last: int) -> Finding | None:
    if not days.size:
        return None
    late = int(days.min()) - first
    if late < max(LATE_START_DAYS, LATE_START_SHARE * (last - first + 1)):
        return None
    return Finding.worded(
        Severity.NOTE,
        None,
        None,
        f"the {name} begin on {iso_day(int(days.min()))}, {late} days after the readings",
        f"{name} noted from the first day on",
        "Nothing to do: before that day they are unknown, not absent.",
        late,
    )


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
    return Finding.worded(
        Severity.QUESTION,
        None,
        None,
        f"the log of {name} fades: {before.mean():.1f} a day before, {after.mean():.1f} a day in "
        f"the last {LAST_DAYS} days",
        f"{name} noted to the end",
        "Ask whether less happened or less was noted; days without any entry are unknown.",
        int(after.sum()),
    )


def _odd_hours(client: Client) -> Finding | None:
    hours = seconds(client.used("meals")["clock"]) % DAY // HOUR
    odd = (hours >= ODD_HOURS[0]) & (hours < ODD_HOURS[1])
    if hours.size < FEWEST_MEALS or odd.mean() < ODD_SHARE:
        return None
    return Finding.worded(
        Severity.QUESTION,
        None,
        None,
        f"{int(odd.sum())} of {hours.size} meals stand between 0{ODD_HOURS[0]}:00 and "
        f"0{ODD_HOURS[1]}:00",
        "meals by the client's own clock",
        "Unless the client works at night, check time_zone and the clock of the log.",
        int(odd.sum()),
    )


def _crowded(client: Client) -> Finding | None:
    days, counts = np.unique(seconds(client.used("meals")["clock"]) // DAY, return_counts=True)
    full = counts > MOST_A_DAY
    if not full.any():
        return None
    listed = ", ".join(
        f"{iso_day(int(day))} ({count})"
        for day, count in list(zip(days[full], counts[full], strict=True))[:SHOWN]
    )
    listed += f" and {full.sum() - SHOWN} more" if full.sum() > SHOWN else ""
    return Finding.worded(
        Severity.QUESTION,
        None,
        None,
        f"more than {MOST_A_DAY} meals noted on {several(int(full.sum()), 'day')}: {listed}",
        "one row a meal, or one a food",
        "Ask what these rows are. Meals so close are cut by the next food, and not ranked.",
        int(full.sum()),
    )


def _same_minute(client: Client) -> Finding | None:
    """Ask about rows of one minute and one label: other amounts may be a correction."""
    frame = client.used("meals")
    label = frame["label"].fillna("").astype(str).map(fold)
    again = (frame.assign(label=label).duplicated(["time", "label"]) & (label != "")).to_numpy()
    if not again.any():
        return None
    first = frame[again].iloc[0]
    return Finding.worded(
        Severity.QUESTION,
        str(first["file"]),
        int(first["row"]),
        f"{several(int(again.sum()), 'meal')} noted again at the same minute under the same label, "
        "with other amounts: they are added together",
        "one row a food",
        "If a row replaced another, remove the one that no longer holds.",
        int(again.sum()),
    )


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
    day = iso_day(int(known[at][0]))
    return Finding.worded(
        Severity.QUESTION,
        None,
        None,
        f"from {day} on sleep stands {farthest:.0f} hours or more from where it stood before",
        "times by the clock where the client was",
        "Ask about a journey, night work, or a device whose clock was not changed. The 72 hours "
        "after a journey tell little.",
        1,
    )
