"""The check: what was read, which days can be used, why others cannot, and what was noticed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace
from math import isfinite
from typing import Any

import numpy as np
import pandas as pd

from miner.core.messages import closest, message
from miner.core.results import CheckReport, Finding, Severity, StreamSummary
from miner.records.client import STREAMS, Client
from miner.records.columns import CONTRADICTED, TWO_VALUES
from miner.records.findings import Findings
from miner.rulebook import RuleBook
from miner.tables.columns import DAY, HOUR, minute_of, seconds, usual_clock
from miner.tables.days import told_left_out
from miner.tables.glucose.trace import Trace, trace_of
from miner.tables.logs import habits_noticed, log_noticed
from miner.tables.measures import records_of
from miner.tables.referral import cautions
from miner.tables.sleep.nights import LONGEST_WAKING_MIN, Nights
from miner.tables.tag_days import FEWEST_DAYS, MOST_TAGS
from miner.tables.unit_table import UnitTable

NOT_WORN_SHARE = 0.25
"""From this share of the days on it is worth asking the client to wear the tracker."""
WEIGHT = (Severity.STOP, Severity.LEFT_OUT, Severity.QUESTION, Severity.NOTE)
NOT_WORN = ("not_worn_long_enough", "no_tracker_record", "no_step_counted")


def _noticed(client: Client, table: UnitTable, rules: RuleBook) -> list[Finding]:
    """Return what is left out or read another way, and why: nights, wear, readings, zones, tags."""
    records, found = records_of(client, rules), Findings()
    left_out = table.frame["left_out"].items()
    few = tuple(str(day) for day, why in left_out if why and why.code == "tables.readings_of_day")
    if few:
        about: dict[str, Any] = {"stream": "glucose", "days": few}
        found.add(Severity.LEFT_OUT, "too_few_readings", count=len(few), **about)
    _nights(found, client, table, records.nights)
    _not_worn(found, table, rules)
    for _, hours in records.trace.zones.journeys():
        found.add(Severity.LEFT_OUT, "journey", count=1, values={"hours": abs(hours)})
    log_noticed(found, client, records.food, records.nights)
    habits_noticed(found, client, table, rules)
    beyond = [each for each in records.tags.passed_over if each[1] >= FEWEST_DAYS]
    rare = [each for each in records.tags.passed_over if each[1] < FEWEST_DAYS]
    _untaken(found, "too_many_tags", beyond, most=MOST_TAGS)
    _untaken(found, "rare_tags", rare, fewest=FEWEST_DAYS)
    return found.items


def _untaken(found: Findings, code: str, tags: list[tuple[str, int]], **values: int) -> None:
    """Report tags that are asked no questions about: too many kinds of them, or too rare."""
    if tags:
        each = [message("tables.tag_with_days", tag=tag, n=days) for tag, days in tags]
        about: dict[str, Any] = {"stream": "tags", "values": {**values, "each": each}}
        found.add(Severity.NOTE, code, count=len(tags), **about)


def _nights(found: Findings, client: Client, table: UnitTable, nights: Nights) -> None:
    numbers = table.frame["day_number"].items()
    missing = tuple(str(day) for day, number in numbers if int(number) not in nights.by_day)
    about: dict[str, Any] = {"stream": "sleep", "days": missing}
    rows = client.used("sleep")
    rows = rows[rows["kind"] != "nap"]
    if nights.by_day and missing:
        found.add(Severity.NOTE, "nights_missing", count=len(missing), **about)
    elif not nights.by_day and rows.empty:
        found.add(Severity.NOTE, "no_sleep", count=1, gain_days=len(missing), **about)
    elif not nights.by_day:  # none of them ends when people wake
        usual = usual_clock(seconds(rows["end_clock"]) % DAY) or 0
        values: dict[str, Any] = {"clock": "{:02d}:{:02d}".format(*divmod(usual // 60, 60))}
        about |= {"count": len(rows), "gain_days": len(missing), "values": values}
        found.add(Severity.QUESTION, "no_sleep_at_night", **about)
    if nights.naps:
        values = {"minutes": LONGEST_WAKING_MIN}
        found.add(Severity.NOTE, "naps", count=nights.naps, stream="sleep", values=values)
    unknown = sum(not night.asleep_known for night in nights.by_day.values())
    if unknown:
        about = {"stream": "sleep", "column": "asleep_min"}
        found.add(Severity.NOTE, "no_time_asleep", count=unknown, **about)


def _not_worn(found: Findings, table: UnitTable, rules: RuleBook) -> None:
    """Report days on which the tracker was off, and those on which it told too little of some.

    A day on which more habits of movement are known than are unknown for want of wear is one on
    which the tracker was worn.
    """
    missing: dict[str, set[str]] = defaultdict(set)
    own = [habit for habit in table.factors if ":" not in habit]
    for (day, habit), why in table.reasons.items():
        if habit in own and why.code.removeprefix("tables.") in NOT_WORN:
            missing[str(day)].add(habit)
    moving = [habit for habit in own if rules.factor(habit).stream == "activity"]
    known = table.frame[moving].notna().sum(axis=1)
    off = sorted(day for day, habits in missing.items() if len(habits & {*moving}) > known[day])
    partly = sorted(missing.keys() - set(off))
    few = NOT_WORN_SHARE * len(table.frame)
    if off:
        about: dict[str, Any] = {"gain_days": len(off) if len(off) >= few else None}
        found.add(Severity.NOTE, "tracker_not_worn", count=len(off), days=tuple(off), **about)
    if partly:
        habits = sorted(set().union(*(missing[day] for day in partly)))
        stress = {rules.factor(habit).stream for habit in habits} == {"stress"}
        values = {
            "habits": [rules.factor(habit).phrase for habit in habits],
            "next": message("tables.see_stress_all_day" if stress else "tables.wear_it_longer"),
        }
        about = {"gain_days": len(partly) if len(partly) >= few and stress else None}
        about |= {"days": tuple(partly), "values": values}
        found.add(Severity.NOTE, "habit_not_measured", count=len(partly), **about)


def _unknown_names(client: Client, rules: RuleBook) -> list[Finding]:
    """Return a question for each outcome or intake question that does not exist."""
    ranked = [name for name, rule in rules.outcomes.items() if not rule.asked_only]
    primary = client.settings.primary_outcome
    found = Findings()
    for code, named, known in (
        ("intake_unknown", client.settings.intake, list(rules.cautions.intake)),
        ("primary_unknown", () if primary is None else (primary,), ranked),
    ):
        for name in (each for each in named if each not in known):
            values = {"name": name, "known": known, "close": closest(name, known)}
            found.add(Severity.QUESTION, code, file="client.toml", values=values)
    return found.items


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
    found = [*_unknown_names(client, rules), *_noticed(client, table, rules)]
    found.sort(key=lambda item: WEIGHT.index(item.severity))
    findings = (*client.findings, *found)
    known = frame.loc[usable, list(table.factors)].notna().sum()
    return CheckReport(
        client=client.settings.code,
        streams={name: _summary(name, client, trace) for name in STREAMS},
        first_day=str(frame.index[0]) if len(frame) else None,
        last_day=str(frame.index[-1]) if len(frame) else None,
        days=len(frame),
        usable_days=int(usable.sum()),
        not_usable={str(day): why for day, why in frame.loc[~usable, "left_out"].items()},
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


def _summary(name: str, client: Client, trace: Trace) -> StreamSummary:
    frame = client.streams[name]
    clock = seconds(frame["clock" if "clock" in frame.columns else "start_clock"])
    cadence, gap = _cadence_and_gap(trace) if name == "glucose" else (None, None)
    return StreamSummary(
        rows=len(frame),
        used=int((frame["left_out"] == "").sum()),
        files=tuple(sorted({str(file) for file in frame["file"].tolist()})),
        first=minute_of(clock.min()) if clock.size else None,
        last=minute_of(clock.max()) if clock.size else None,
        days=int(np.unique(clock // DAY).size),
        cadence_min=cadence,
        longest_gap_h=gap,
    )


def _cadence_and_gap(trace: Trace) -> tuple[float | None, float | None]:
    """Return the commonest cadence in minutes and the longest gap in hours of used readings."""
    if trace.at.size < 2:
        return None, None
    found, counts = np.unique(trace.cadence, return_counts=True)
    gap = float(np.diff(trace.at).max()) / HOUR
    return float(found[counts.argmax()]), round(gap, 2) if isfinite(gap) else None
