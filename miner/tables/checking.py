"""The check: what was read, which days can be used, why others cannot, and what was noticed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace
from math import isfinite
from typing import Any

import numpy as np
import pandas as pd

from miner.core.messages import Message, closest, message
from miner.core.results import CheckReport, Finding, Severity, StreamSummary
from miner.records.client import STREAMS, Client
from miner.records.columns import CONTRADICTED, TWO_VALUES
from miner.rulebook import RuleBook
from miner.tables.columns import DAY, HOUR, Times, seconds, usual_clock
from miner.tables.days import told_left_out
from miner.tables.food.eating import food_of
from miner.tables.glucose.trace import Trace, trace_of
from miner.tables.logs import habits_noticed, log_noticed
from miner.tables.measures import records_of
from miner.tables.referral import cautions
from miner.tables.sleep.nights import LONGEST_WAKING_MIN, Nights, days_of, nights_of
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


def unknown_names(client: Client, rules: RuleBook) -> list[Finding]:
    """Return a question for each outcome or intake question that does not exist.

    Args:
        client: as read.
        rules: the rule books.
    """
    asked = [
        _unknown("intake_unknown", name, list(rules.cautions.intake))
        for name in client.settings.intake
        if name not in rules.cautions.intake
    ]
    primary = client.settings.primary_outcome
    ranked = [name for name, rule in rules.outcomes.items() if not rule.asked_only]
    if primary is not None and primary not in ranked:
        asked.append(_unknown("primary_unknown", primary, ranked))
    return asked


def _unknown(code: str, name: str, known: list[str]) -> Finding:
    values = {"name": name, "known": known, "close": closest(name, known)}
    return Finding(Severity.QUESTION, "client.toml", None, code, values=values)


def check(client: Client, table: UnitTable, rules: RuleBook) -> CheckReport:
    """Return what was read of a client and what of it can be used.

    Args:
        client: the records as read.
        table: the client's day table.
        rules: the rule books.
    """
    frame = table.frame
    trace = trace_of(client)
    texts, not_asked = cautions(client, table, rules)
    usable = frame["usable"].astype(bool)
    found = [*unknown_names(client, rules), *noticed(client, table, rules)]
    findings = (*client.findings, *_by_severity(found))
    known = frame.loc[usable, list(table.factors)].notna().sum()
    return CheckReport(
        client=client.settings.code,
        streams={name: _summary(name, client, trace) for name in STREAMS},
        first_day=str(frame.index[0]) if len(frame) else None,
        last_day=str(frame.index[-1]) if len(frame) else None,
        days=len(frame),
        usable_days=int(usable.sum()),
        not_usable=_not_usable(frame),
        known_factors={str(name): int(count) for name, count in known.items()},
        findings=tuple(_with_gain(item, client, frame) for item in findings),
        cautions=texts,
        intake_not_asked=not_asked,
        records_hash=client.records_hash,
        covered=_covered(client, table, rules),
    )


GLUCOSE_IN_DOUBT = {"two_traces": CONTRADICTED, "two_values": TWO_VALUES}
"""Findings that leave readings out until somebody says which are right."""


def _with_gain(item: Finding, client: Client, frame: pd.DataFrame) -> Finding:
    """Return a question with the days on which an answer would settle something."""
    if item.severity is not Severity.QUESTION or item.gain_days is not None or not item.days:
        return item
    days = set(item.days) & set(frame["date"].astype(str))
    if item.code in GLUCOSE_IN_DOUBT:
        glucose = client.streams["glucose"]
        doubtful = glucose["left_out"] == GLUCOSE_IN_DOUBT[item.code]
        touched = set(glucose.loc[doubtful, "clock"].dt.strftime("%Y-%m-%d").unique())
        days = touched & set(frame.loc[~frame["usable"].astype(bool), "date"].astype(str))
    return replace(item, gain_days=len(days))


def _covered(client: Client, table: UnitTable, rules: RuleBook) -> Mapping[str, float]:
    """Return the share of each day that readings cover, where that is why it is not used."""
    told = told_left_out(client, records_of(client, rules), rules)
    few = np.array([why is None for why in told], dtype=bool) & ~table.frame["usable"].astype(bool)
    return {str(name): share for name, share in table.frame.loc[few, "coverage"].items()}


def _by_severity(findings: list[Finding]) -> list[Finding]:
    order = {"stop": 0, "left_out": 1, "question": 2, "note": 3}
    return sorted(findings, key=lambda item: order[str(item.severity)])


def _not_usable(frame: pd.DataFrame) -> Mapping[str, Message]:
    apart = frame[~frame["usable"].astype(bool)]
    return {str(day): why for day, why in zip(apart.index, apart["left_out"], strict=True)}


def _summary(name: str, client: Client, trace: Trace) -> StreamSummary:
    frame = client.streams[name]
    clock = seconds(frame["clock" if "clock" in frame.columns else "start_clock"])
    cadence, gap = _cadence_and_gap(trace) if name == "glucose" else (None, None)
    return StreamSummary(
        rows=len(frame),
        used=int((frame["left_out"] == "").sum()),
        files=tuple(sorted({str(file) for file in frame["file"].tolist()})),
        first=_minute(clock.min()) if clock.size else None,
        last=_minute(clock.max()) if clock.size else None,
        days=int(np.unique(_days_of(clock)).size),
        cadence_min=cadence,
        longest_gap_h=gap,
    )


def _days_of(clock: Times) -> Times:
    return np.asarray(clock // DAY, dtype=np.int64)


def _minute(clock: np.int64) -> str:
    return str(np.datetime64(int(clock), "s").astype("datetime64[m]"))


def _cadence_and_gap(trace: Trace) -> tuple[float | None, float | None]:
    """Return the commonest cadence in minutes and the longest gap in hours of used readings."""
    if trace.at.size < 2:
        return None, None
    found, counts = np.unique(trace.cadence, return_counts=True)
    gap = float(np.diff(trace.at).max()) / HOUR
    return float(found[counts.argmax()]), round(gap, 2) if isfinite(gap) else None
