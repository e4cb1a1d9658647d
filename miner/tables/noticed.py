"""What the day table itself noticed, told in the same four parts as the reader's findings."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from miner.core.messages import message
from miner.core.results import Finding, Severity
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.tables.biological_days import days_of
from miner.tables.clockwork import DAY, seconds, usual_clock
from miner.tables.food.eating import food_of
from miner.tables.glucose.trace import trace_of
from miner.tables.log_noticed import log_noticed
from miner.tables.noticed_habits import habits_noticed
from miner.tables.sleep.nights import LONGEST_WAKING_MIN, Nights, nights_of
from miner.tables.tag_days import FEWEST_DAYS, MOST_TAGS, Tags, tags_of
from miner.tables.unit_table import UnitTable

NOT_WORN_SHARE = 0.25
"""From this share of the days on it is worth asking the client to wear the tracker."""
NOT_WORN = ("not_worn_long_enough", "no_tracker_record", "no_step_counted")


def noticed(client: Client, table: UnitTable, rules: RuleBook) -> list[Finding]:
    """Return what is left out or read another way, and why: nights, wear, readings, zones, tags."""
    nights, trace = nights_of(client), trace_of(client)
    found = [
        _too_few_readings(table),
        *_nights(client, table, nights),
        _naps(nights),
        _time_in_bed(nights),
        *_not_worn(table, rules),
        *_journeys(client),
        *log_noticed(client, food_of(client, rules), trace, nights),
        *habits_noticed(client, table, trace, rules),
        *_tags(tags_of(client, days_of(trace, nights), rules.cautions)),
    ]
    return [item for item in found if item is not None]


def _found(code: str, count: int, severity: Severity = Severity.NOTE, **about: Any) -> Finding:
    return Finding(severity, None, None, code, count, **about)


def _too_few_readings(table: UnitTable) -> Finding | None:
    frame = table.frame
    days = [
        day
        for day, why in frame["left_out"].items()
        if why and why.code == "tables.readings_of_day"
    ]
    if not days:
        return None
    about = {"stream": "glucose", "days": tuple(str(day) for day in days)}
    return _found("too_few_readings", len(days), Severity.LEFT_OUT, **about)


def _nights(client: Client, table: UnitTable, nights: Nights) -> list[Finding | None]:
    numbers = table.frame["day_number"].items()
    missing = tuple(str(day) for day, number in numbers if int(number) not in nights.by_day)
    if not nights.recorded:
        return [_no_night(client, missing)]
    if not missing:
        return []
    return [_found("nights_missing", len(missing), stream="sleep", days=missing)]


def _no_night(client: Client, days: tuple[str, ...]) -> Finding:
    """Tell that no record of sleep is a night: none is there, or none ends when people wake."""
    rows = client.used("sleep")
    rows = rows[rows["kind"] != "nap"]
    about: dict[str, Any] = {"stream": "sleep", "days": days, "gain_days": len(days)}
    if rows.empty:
        return _found("no_sleep", 1, **about)
    usual = usual_clock(seconds(rows["end_clock"]) % DAY) or 0
    values = {"clock": "{:02d}:{:02d}".format(*divmod(usual // 60, 60))}
    return _found("no_sleep_at_night", len(rows), Severity.QUESTION, values=values, **about)


def _naps(nights: Nights) -> Finding | None:
    if not nights.naps:
        return None
    return _found("naps", nights.naps, stream="sleep", values={"minutes": LONGEST_WAKING_MIN})


def _time_in_bed(nights: Nights) -> Finding | None:
    count = sum(not night.asleep_known for night in nights.by_day.values())
    if not count:
        return None
    return _found("no_time_asleep", count, stream="sleep", column="asleep_min")


def _not_worn(table: UnitTable, rules: RuleBook) -> list[Finding | None]:
    """Tell of days on which the tracker was off, and of those on which it told too little of some.

    A day on which more habits of movement are known than are unknown for want of wear is one on
    which the tracker was worn.
    """
    missing: dict[str, set[str]] = defaultdict(set)
    for (day, habit), why in table.reasons.items():
        if (
            habit in table.factors
            and ":" not in habit
            and why.code.removeprefix("tables.") in NOT_WORN
        ):
            missing[str(day)].add(habit)
    moving = [x for x in table.factors if ":" not in x and rules.factor(x).stream == "activity"]
    known = table.frame[moving].notna().sum(axis=1)
    off = {day for day, habits in missing.items() if len(habits & {*moving}) > known[day]}
    partly = {day: habits for day, habits in missing.items() if day not in off}
    few = NOT_WORN_SHARE * len(table.frame)
    return [_off(sorted(off), few), _told_too_little(partly, few, rules)]


def _off(days: list[str], few: float) -> Finding | None:
    if not days:
        return None
    gain = len(days) if len(days) >= few else None
    return _found("tracker_not_worn", len(days), days=tuple(days), gain_days=gain)


def _told_too_little(
    missing: Mapping[str, set[str]], few: float, rules: RuleBook
) -> Finding | None:
    """Tell of habits that are unknown on days on which movement is known."""
    if not missing:
        return None
    habits = sorted(set().union(*missing.values()))
    streams = {rules.factor(habit).stream for habit in habits}
    stress = streams == {"stress"}
    days = sorted(missing)
    return _found(
        "habit_not_measured",
        len(days),
        days=tuple(days),
        gain_days=len(days) if len(days) >= few and stress else None,
        values={
            "habits": [rules.factor(habit).phrase for habit in habits],
            "next": message("tables.see_stress_all_day" if stress else "tables.wear_it_longer"),
        },
    )


def _journeys(client: Client) -> list[Finding | None]:
    return [
        _found("journey", 1, Severity.LEFT_OUT, values={"hours": abs(hours)})
        for _, hours in trace_of(client).zones.journeys()
    ]


def _tags(tags: Tags) -> list[Finding | None]:
    """Tell of the tags that are asked no questions about: too many kinds of them, or too rare."""
    beyond = [each for each in tags.passed_over if each[1] >= FEWEST_DAYS]
    rare = [each for each in tags.passed_over if each[1] < FEWEST_DAYS]
    return [
        _untaken("too_many_tags", beyond, most=MOST_TAGS),
        _untaken("rare_tags", rare, fewest=FEWEST_DAYS),
    ]


def _untaken(code: str, tags: list[tuple[str, int]], **values: int) -> Finding | None:
    if not tags:
        return None
    each = [message("tables.tag_with_days", tag=tag, n=days) for tag, days in tags]
    return _found(code, len(tags), stream="tags", values={**values, "each": each})
