"""The check: what was read, which days can be used, why others cannot, and what was noticed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import isfinite

import numpy as np
import pandas as pd

from miner.core.messages import Message
from miner.core.results import CheckReport, Finding, Severity, StreamSummary
from miner.records.client import STREAMS, Client
from miner.records.columns import CONTRADICTED, TWO_VALUES
from miner.rulebook import RuleBook
from miner.tables.biological_days import days_of
from miner.tables.clockwork import DAY, HOUR, Times, seconds
from miner.tables.glucose.trace import Trace, trace_of
from miner.tables.known_names import unknown_names
from miner.tables.noticed import noticed
from miner.tables.referral import cautions
from miner.tables.sleep.nights import nights_of
from miner.tables.tag_days import tags_of
from miner.tables.unit_table import UnitTable
from miner.tables.usable import coverage_of, told_left_out


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
    trace = trace_of(client)
    days = days_of(trace, nights_of(client))
    share = dict(zip(days.names, coverage_of(trace, days).tolist(), strict=True))
    told = told_left_out(client, trace, days, tags_of(client, days, rules.cautions), rules.cautions)
    otherwise = {name for name, why in zip(days.names, told, strict=True) if why}
    apart = table.frame.index[~table.frame["usable"].astype(bool)]
    return {str(name): share[str(name)] for name in apart if str(name) not in otherwise}


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
