"""What the day table itself noticed, told in the same four parts as the reader's findings."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from miner.core.errors import several
from miner.core.results import Finding, Severity
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.tables.biological_days import days_of
from miner.tables.clockwork import DAY, seconds, usual_clock
from miner.tables.eating import food_of
from miner.tables.log_noticed import log_noticed
from miner.tables.nights import LONGEST_WAKING_MIN, Nights, nights_of
from miner.tables.noticed_habits import habits_noticed
from miner.tables.tag_days import FEWEST_DAYS, MOST_TAGS, Tags, tags_of
from miner.tables.trace import trace_of
from miner.tables.unit_table import UnitTable

SHOWN, TAGS_SHOWN = 5, 30
NOT_WORN_SHARE = 0.25
"""From this share of the days on it is worth asking the client to wear the tracker."""
NOT_WORN = ("the tracker was", "no tracker record", "no step was counted")


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


def _note(
    code: str, what: str, expected: str, do: str, count: int, severity: str = "note", **about: Any
) -> Finding:
    return Finding.worded(
        Severity(severity), None, None, what, expected, do, count, code=code, **about
    )


def _listed(days: list[str]) -> str:
    more = f" and {len(days) - SHOWN} more" if len(days) > SHOWN else ""
    return ", ".join(days[:SHOWN]) + more


def _too_few_readings(table: UnitTable) -> Finding | None:
    frame = table.frame
    days = frame.index[frame["left_out"].str.startswith("readings cover")].tolist()
    if not days:
        return None
    return _note(
        "too_few_readings",
        f"{several(len(days), 'day')} with too few readings: {_listed(days)}",
        "readings for 70 % of the day",
        "Nothing can be repaired; keep the sensor read more often.",
        len(days),
        "left_out",
        stream="glucose",
        days=tuple(str(day) for day in days),
    )


def _nights(client: Client, table: UnitTable, nights: Nights) -> list[Finding | None]:
    numbers = table.frame["day_number"].items()
    missing = tuple(str(day) for day, number in numbers if int(number) not in nights.by_day)
    if not nights.recorded:
        return [_no_night(client, missing)]
    if not missing:
        return []
    return [
        _note(
            "nights_missing",
            f"{several(len(missing), 'night')} without a main sleep, by the day of waking: "
            f"{_listed(list(missing))}. Those days begin at the usual waking, and their overnight "
            "mean is read from 00:00 to 06:00",
            "a sleep that ends between 03:00 and 14:00, or one marked main",
            "Nothing to do, unless the tracker has that night.",
            len(missing),
            short=f"{several(len(missing), 'night')} without a main sleep",
            stream="sleep",
            days=missing,
        )
    ]


def _no_night(client: Client, days: tuple[str, ...]) -> Finding:
    """Tell that no record of sleep is a night: none is there, or none ends when people wake."""
    rows = client.used("sleep")
    rows = rows[rows["kind"] != "nap"]
    then = (
        "A day runs from 04:00 to 04:00, the overnight mean from 00:00 to 06:00. Wake glucose is "
        "not known"
    )
    if rows.empty:
        return _note(
            "no_sleep",
            f"there is no main sleep in these records. {then}",
            "a sleep record for each night",
            "Add the tracker's sleep export.",
            1,
            short="there is no main sleep in these records",
            stream="sleep",
            days=days,
            gain_days=len(days),
        )
    count = several(len(rows), "sleep")
    usual = usual_clock(seconds(rows["end_clock"]) % DAY) or 0
    clock = "{:02d}:{:02d}".format(*divmod(usual // 60, 60))
    short = f"{count} recorded, and none ends between 03:00 and 14:00; they end about {clock}"
    return _note(
        "no_sleep_at_night",
        f"{short}. None counts as a night. {then}",
        "a sleep that ends between 03:00 and 14:00, or one marked main",
        "See whether start and end, the time zone or the clock of this file are right.",
        len(rows),
        "question",
        short=short,
        stream="sleep",
        days=days,
        gain_days=len(days),
    )


def _naps(nights: Nights) -> Finding | None:
    if not nights.naps:
        return None
    return _note(
        "naps",
        f"{several(nights.naps, 'nap')} not counted as night sleep",
        f"main sleep; parts within {LONGEST_WAKING_MIN} minutes of each other count as one night",
        "Nothing to do.",
        nights.naps,
        stream="sleep",
    )


def _time_in_bed(nights: Nights) -> Finding | None:
    count = sum(not night.asleep_known for night in nights.by_day.values())
    if not count:
        return None
    return _note(
        "no_time_asleep",
        f"{several(count, 'night')} without time asleep: time in bed is used for short and "
        "long nights",
        "asleep_min, or the minutes of deep, light and REM sleep",
        "Map the tracker's time asleep if the export has it.",
        count,
        short=f"{several(count, 'night')} without time asleep, time in bed used",
        stream="sleep",
        column="asleep_min",
    )


def _not_worn(table: UnitTable, rules: RuleBook) -> list[Finding | None]:
    """Tell of days on which the tracker was off, and of those on which it told too little of some.

    A day on which more habits of movement are known than are unknown for want of wear is one on
    which the tracker was worn.
    """
    missing: dict[str, set[str]] = defaultdict(set)
    for (day, habit), why in table.reasons.items():
        if habit in table.factors and ":" not in habit and why.startswith(NOT_WORN):
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
    return _note(
        "tracker_not_worn",
        f"{several(len(days), 'day')} on which the tracker was not worn, or not long enough, "
        f"for some habit. Days: {_listed(days)}. Those habits are unknown there, not absent",
        "the tracker worn while awake",
        "Ask the client to wear it through the day.",
        len(days),
        short=f"{several(len(days), 'day')} on which the tracker was not worn long enough",
        days=tuple(days),
        gain_days=len(days) if len(days) >= few else None,
    )


def _told_too_little(
    missing: Mapping[str, set[str]], few: float, rules: RuleBook
) -> Finding | None:
    """Tell of habits that are unknown on days on which movement is known."""
    if not missing:
        return None
    habits = sorted(set().union(*missing.values()))
    named = ", ".join(f"'{rules.factor(habit).phrase}'" for habit in habits)
    streams = {rules.factor(habit).stream for habit in habits}
    do = (
        "See whether the tracker measures stress all day, or its export leaves hours out."
        if streams == {"stress"}
        else "Nothing to do, unless one of them is to be looked at: then wear it for longer."
    )
    days = sorted(missing)
    many = len(days) >= few and streams == {"stress"}
    return _note(
        "habit_not_measured",
        f"{several(len(days), 'day')} on which the tracker was worn and told too little of "
        f"{named}. Days: {_listed(days)}",
        "measured for half of the time that counts",
        do,
        len(days),
        short=f"{several(len(days), 'day')} with too little told of {named}",
        days=tuple(days),
        gain_days=len(days) if many else None,
    )


def _journeys(client: Client) -> list[Finding | None]:
    return [
        _note(
            "journey",
            f"the clock moved by {abs(hours):g} hours: the 72 hours after it are left out",
            "one time zone",
            "Nothing to do.",
            1,
            "left_out",
        )
        for _, hours in trace_of(client).zones.journeys()
    ]


def _tags(tags: Tags) -> list[Finding | None]:
    """Tell of the tags that are asked no questions about: too many kinds of them, or too rare."""
    beyond = [each for each in tags.passed_over if each[1] >= FEWEST_DAYS]
    rare = [each for each in tags.passed_over if each[1] < FEWEST_DAYS]
    return [
        _untaken(
            "too_many_tags",
            beyond,
            f"after the {MOST_TAGS} commonest, not asked about as habits",
            f"at most {MOST_TAGS} different tags",
            "Join tags that mean the same under [synonyms] in client.toml, or leave some out.",
        ),
        _untaken(
            "rare_tags",
            rare,
            f"on fewer than {FEWEST_DAYS} days, not asked about as habits",
            f"a tag on {FEWEST_DAYS} days or more",
            "Nothing to do, unless one of them is another spelling: see [synonyms].",
        ),
    ]


def _untaken(
    code: str, tags: list[tuple[str, int]], why: str, expected: str, do: str
) -> Finding | None:
    if not tags:
        return None
    listed = ", ".join(f"'{tag}' ({days})" for tag, days in tags[:TAGS_SHOWN])
    listed += f" and {len(tags) - TAGS_SHOWN} more" if len(tags) > TAGS_SHOWN else ""
    noun = "tag" if len(tags) == 1 else "tags"
    what = f"{len(tags)} {noun} {why}"
    told = f"{what}. Days of each: {listed}"
    return _note(code, told, expected, do, len(tags), short=what, stream="tags")
