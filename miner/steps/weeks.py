"""The weekly check of one client; nothing is written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from math import ceil

import numpy as np

from miner.core.messages import Message, MinerError, by_rules, message
from miner.core.period import Period
from miner.core.results.week import Logged, OpenQuestion, Week
from miner.hypotheses.design import Design, design
from miner.ledger import replay
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.steps.checking import cautions, pauses_told, waits
from miner.steps.client_ledger import ledger_of
from miner.steps.following import frozen_table
from miner.steps.opening import opened, refuse_stopped, table_of
from miner.steps.ticking import days_not_ticked, last_whole_day
from miner.tables.logs import logged_by_day
from miner.tables.measures import records_of
from miner.tables.referral import calm_said
from miner.tables.unit_table import UnitTable

LENGTH = 7
TOO_EARLY_DAYS = 7
NEVER_AFTER_DAYS = 180
# A day without an episode is not a day without the tracker.
EPISODES = ("stress", "activity")


def week(client: Client, rules: RuleBook | None = None, *, last: str | None = None) -> Week:
    """Return what was logged in a week, and how far each open question is.

    Args:
        client: as read.
        rules: the rule books; kept definitions replace theirs.
        last: ISO date of the last day of the week; by default the last day of the records.

    Raises:
        MinerError: a finding of the check stops the work, or the records begin after that day.
    """
    refuse_stopped(client)
    client, books = opened(client, rules)
    clock = client.streams["glucose"]["clock"]
    first, newest = str(clock.min())[:10], str(clock.max())[:10]
    end = last or newest
    if end < first:
        raise MinerError("steps.week_before_records", first=first, last=newest, end=end)
    days = tuple(
        (date.fromisoformat(end) - timedelta(days=back)).isoformat()
        for back in reversed(range(LENGTH))
    )
    logged = logged_by_day(client, days)
    past = ledger_of(client)
    asked = [
        replace(item, sentence=by_rules(books, "labels.open_question", item=item))
        for item in _questions(client, books, end)
    ]
    calm = calm_said(client, books)
    whole = last_whole_day(records_of(client, books))
    advice = () if calm else worth_logging(logged, asked, books)
    return Week(
        client=client.settings.code,
        days=days,
        logged=logged,
        questions=tuple(asked),
        worth_logging=advice,
        message="" if calm else _message(advice, logged, books),
        cautions=cautions(client, books),
        notes=past.notes,
        not_ticked=days_not_ticked(client.folder, min(end, whole) if whole else None),
        paused=tuple(
            message("steps.of_plan", name=plan.name, told=pauses_told(client, books, plan)[-1])
            for plan in replay(past.book).plans
            if plan.kept.closed_at is None and waits(client, books, plan)
        ),
    )


def _message(advice: Sequence[Message], logged: Mapping[str, Logged], rules: RuleBook) -> Message:
    """Return a message to the client, ready to send; there is no number of glucose in it."""
    kept = [name for name, seen in logged.items() if seen.days >= LENGTH]
    return by_rules(rules, "labels.week_message", advice=advice, kept=kept)


def worth_logging(
    logged: Mapping[str, Logged], questions: Sequence[OpenQuestion], rules: RuleBook
) -> tuple[Message, ...]:
    """Return what would help most, streams that an open question needs first.

    Args:
        logged: the week by stream.
        questions: what is open.
        rules: the rule books.
    """
    needed: list[str] = []
    for item in questions:
        if not item.enough:
            needed += [_stream(name, item.unit_of, rules) for name in item.factors]
    used = [name for name, seen in logged.items() if seen.days]
    order = [name for name in dict.fromkeys(["glucose", *needed, *used]) if name in logged]
    advice: dict[str, Message] = {}
    for name in order:
        seen = logged[name]
        if seen.days >= len(seen.by_day) or (name in EPISODES and seen.unit != "hours"):
            continue
        had = "tracker" if name in EPISODES else name
        told = message(f"steps.logged_{had}", days=seen.days, all=len(seen.by_day))
        asked = message(f"steps.please_{had}")
        advice.setdefault(had, message("steps.worth_logging", told=told, asked=asked))
    return tuple(advice.values())


def _stream(factor: str, unit: str, rules: RuleBook) -> str:
    try:
        return rules.factor(factor, unit).stream
    except MinerError:
        return "tags"


def _questions(client: Client, rules: RuleBook, end: str) -> list[OpenQuestion]:
    past = ledger_of(client)
    tables: dict[str, UnitTable] = {}
    found = []
    for unit in ("day", "meal"):
        for item in past.questions(rules, unit):
            if unit not in tables:
                tables[unit] = table_of(client, rules, unit)
            found.append(
                _counted(
                    tables[unit],
                    rules,
                    end,
                    kind="fixed",
                    id_="",
                    factors=(item.factor,),
                    outcome=item.outcome,
                    since=item.fixed_on or "",
                )
            )
    for kept in replay(past.book).kept:
        if kept.as_ != "watch" or kept.closed_at is not None:
            continue
        table, books = frozen_table(client, rules, kept.what)
        found.append(
            _counted(
                table,
                books,
                end,
                kind="kept",
                id_=kept.id,
                factors=kept.what.factors,
                outcome=kept.what.outcome,
                since=kept.what.suggested_by_days_to,
            )
        )
    return found


def _counted(
    table: UnitTable,
    rules: RuleBook,
    end: str,
    *,
    kind: str,
    id_: str,
    factors: tuple[str, ...],
    outcome: str,
    since: str,
) -> OpenQuestion:
    begin = (date.fromisoformat(since) + timedelta(days=1)).isoformat() if since else None
    plan = design(table, rules, Period(begin, end))
    values = _habit(plan, factors, outcome)
    with_, without = int((values == 1).sum()), int((values == 0).sum())
    unknown = int(np.isnan(values).sum())
    guard = rules.guardrails
    each = guard.fewest_units_each_side
    if table.unit == "day":
        each = max(each, ceil(guard.fewest_share_each_side * (with_ + without)))
    total = guard.fewest_days_to_rank if table.unit == "day" else guard.fewest_meals_to_rank
    if kind == "kept":
        total = 2 * each
    dates = table.frame["date"].astype(str)
    inside = sorted(day for day in dates if (begin is None or day >= begin) and day <= end)
    passed = 0 if not inside else (date.fromisoformat(end) - date.fromisoformat(inside[0])).days + 1
    lacks = ((each, with_), (each, without), (total, with_ + without))
    enough = all(have >= need for need, have in lacks)
    left = None if enough else days_left(lacks, passed)
    return OpenQuestion(
        kind=kind,
        id=id_,
        factors=factors,
        outcome=outcome,
        since=since,
        unit_of=table.unit,
        with_=with_,
        without=without,
        unknown=unknown,
        need_each_side=each,
        need_units=total,
        enough=enough,
        days_to_enough=left,
        never=not enough and left is None and passed >= TOO_EARLY_DAYS,
        why_unknown=_why_unknown(table, factors, inside),
    )


def _habit(plan: Design, factors: Sequence[str], outcome: str) -> np.ndarray:
    """Return 1, 0 or NaN a unit: habit and outcome both known; no AND unknown is no."""
    target = next((each for each in plan.targets if each.name == outcome), None)
    values = np.ones(len(plan.names))
    for name in factors:
        items = [] if target is None else [each for each in target.items if each.factor == name]
        part = items[0].values if items else np.full(len(plan.names), np.nan)
        both_no = (values == 0) | (part == 0)
        values = np.where(both_no, 0.0, values * part)
    if target is not None:
        values = np.where(target.known, values, np.nan)
    return values


def days_left(lacks: Sequence[tuple[int, int]], passed: int) -> int | None:
    """Return the further days until every need is met at the pace so far.

    Args:
        lacks: pairs of what is needed and what there is.
        passed: days in which that came together.

    Returns:
        None where the pace is not known yet, or would take more than 180 days.
    """
    if passed < TOO_EARLY_DAYS:
        return None
    longest = 0.0
    for need, have in lacks:
        if have < need:
            longest = max(longest, (need - have) * passed / have if have else float("inf"))
    return ceil(longest - 1e-9) if longest <= NEVER_AFTER_DAYS else None


def _why_unknown(table: UnitTable, factors: Sequence[str], dates: Sequence[str]) -> Message | str:
    inside = set(dates)
    units = table.frame["date"].astype(str).to_dict()
    counts: dict[Message, int] = {}
    for (unit, name), why in table.reasons.items():
        if name in factors and units.get(unit) in inside:
            counts[why] = counts.get(why, 0) + 1
    return min(counts, key=lambda why: (-counts[why], str(why))) if counts else ""
