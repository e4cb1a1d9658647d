"""What has to be shown first: when to refer, what a yes at the intake asks for, what is always."""

from __future__ import annotations

import numpy as np

from miner.core.messages import Message, by_rules, message
from miner.core.results import CautionKind, CautionText
from miner.records.client import Client
from miner.records.columns import MG_DL_PER_MMOL_L
from miner.rulebook import Cautions, IntakeQuestion, Referral, RuleBook
from miner.tables.columns import DAY, Floats, Mask, iso_day
from miner.tables.glucose.trace import Trace
from miner.tables.measures import DayRecords, records_of
from miner.tables.tag_days import Tags
from miner.tables.unit_table import UnitTable


def cautions(
    client: Client, table: UnitTable, rules: RuleBook, *, days: int | None = None
) -> tuple[tuple[CautionText, ...], tuple[str, ...]]:
    """Return what has to be said beside any pattern, and what the intake did not ask.

    In this order: intake questions answered yes, readings that call for a clinician, tags of
    medicines, pregnancy or illness, what was not asked, and what is always said. A reading counts
    on the wall-clock date it was taken; readings left out (a confirmed pressure low, the first day
    of a sensor) do not count. A wake reading comes from the day table, so only a table by day has
    any. Limits are told in the client's display unit.

    Args:
        client: as read.
        table: the client's day table.
        rules: the rule books.
        days: over how many days patterns are looked for; by default all of the table.

    Returns:
        The cautions, and the names of the intake questions not asked, in plain words.
    """
    book = rules.cautions
    answers = {name: client.settings.intake.get(name, "not_asked") for name in book.intake}
    yes = [book.intake[name] for name, told in answers.items() if told == "yes"]
    records = records_of(client, rules)
    referrals = _referrals(records.trace, table, book, client.settings.display_unit)
    names = [book.intake[name].asked for name, told in answers.items() if told == "not_asked"]
    span = message("tables.days", n=table.frame["date"].nunique() if days is None else days)
    patterns = [by_rule(text, days=span) for text in book.with_patterns]
    said = [
        *(_answered(one, message("tables.answered_yes", asked=one.asked)) for one in yes),
        *referrals,
        *_of_tags(records.tags, book),
        *(CautionText(CautionKind.NOT_ASKED, text) for text in _not_asked(names, rules)),
        *(CautionText(CautionKind.ALWAYS, text) for text in book.always),
        *(CautionText(CautionKind.PATTERNS, text) for text in patterns),
    ]
    return tuple(dict.fromkeys(said)), tuple(names)


def calm_said(client: Client, rules: RuleBook) -> tuple[str, ...]:
    """Return what is said where the intake asks for no numbers and perhaps no tracking at all."""
    told, book = client.settings.intake, rules.cautions.intake
    return tuple(
        item.when_yes for name, item in book.items() if item.calm and told.get(name) == "yes"
    )


def by_rule(text: str, **values: object) -> Message:
    """Return a text of a rule book with what its braces name."""
    return message("tables.by_rule", rule=text, **values)


def _answered(question: IntakeQuestion, rests_on: Message) -> CautionText:
    action = question.client_action
    return CautionText(CautionKind.INTAKE, question.when_yes, rests_on, action)


def _not_asked(names: list[str], rules: RuleBook) -> list[Message]:
    named = message("tables.all_of_them", names=names)
    return [by_rules(rules, "cautions.not_asked", names=named)] if names else []


def _referrals(trace: Trace, table: UnitTable, book: Cautions, unit: str) -> list[CautionText]:
    wake = np.zeros(0)
    if "wake_glucose" in table.outcomes:
        wake = table.frame["wake_glucose"].to_numpy(np.float64)
    told = []
    for rule in book.referral:
        days = _days_counted(rule, trace, wake)
        if days >= rule.days:
            about = {"at": limit_in(rule.at, unit), "days": message("tables.days", n=days)}
            short = message(f"tables.{rule.kind}", **about)
            many = by_rule(rule.say_of_many, at=about["at"]) if rule.say_of_many else None
            said = by_rule(rule.say, **about, of_many=many, own=about["days"])
            told.append(CautionText(CautionKind.REFERRAL, said, short, rule.client_action))
    return told


def limit_in(mg_dl: float, unit: str) -> Message:
    """Return a limit in the unit the practice reads."""
    if unit == "mmol/L":
        return message("tables.limit_in_mmol", limit=mg_dl / MG_DL_PER_MMOL_L)
    return message("tables.limit_in_mg", limit=mg_dl)


def _days_counted(rule: Referral, trace: Trace, wake: Floats) -> int:
    if rule.kind == "wake_at_least":
        return int((wake >= rule.at).sum())
    return int(np.unique(trace.clock[_hit(trace, rule)] // DAY).size)


def _hit(trace: Trace, rule: Referral) -> Mask:
    under = trace.below(rule.at)
    return ~under if rule.kind == "any_at_least" else under


def _of_tags(tags: Tags, book: Cautions) -> list[CautionText]:
    seen = {
        kind: tuple(message("tables.tag_on", tag=tag, day=iso_day(day)) for tag, day in own.items())
        for kind, own in tags.kinds.items()
    }
    said = []
    for kind, code in (("medicine", CautionKind.MEDICINE), ("pregnancy", CautionKind.INTAKE)):
        if seen[kind]:
            short = message(f"tables.of_{kind}", seen=seen[kind])
            said.append(CautionText(code, message(f"tables.{kind}", seen=seen[kind]), short))
            asked = book.intake.get(kind)
            said += [_answered(asked, short)] if asked and code is CautionKind.INTAKE else []
    if seen["illness"]:
        about = {"seen": seen["illness"], "around": book.illness_days_around}
        said.append(CautionText(CautionKind.ILLNESS, message("tables.illness", **about)))
    return said


def referrals_of_day(
    records: DayRecords, table: UnitTable, k: int, rules: RuleBook, display_unit: str
) -> tuple[Message, ...]:
    """Return what the rule book says of the readings of one day and the night that opens it.

    A rule that needs several days speaks where this day is one of them and there are enough.

    Args:
        records: the client's streams cut into days.
        table: the client's day table.
        k: place of the day.
        rules: the rule books.
        display_unit: "mg/dL" or "mmol/L".
    """
    said = []
    for rule in rules.cautions.referral:
        if rule.kind == "wake_at_least" and "wake_glucose" not in table.outcomes:
            continue
        days = _days(records, table, rule)
        mine = _mine(records, table, k, rule)
        if mine and len(days | {k}) >= rule.days:
            kind = "this_day" if rule.days == 1 else "this_day_among"
            count = message(f"tables.{kind}", n=len(days | {k}))
            said.append(by_rule(rule.say, at=limit_in(rule.at, display_unit), days=count))
    return tuple(said)


def _mine(records: DayRecords, table: UnitTable, k: int, rule: Referral) -> bool:
    if rule.kind == "wake_at_least":
        return bool(table.frame["wake_glucose"].iloc[k] >= rule.at)
    night = records.days.night[k]
    begin, finish = records.day(k)
    begin = begin if night is None else night.start
    low, high = np.searchsorted(records.trace.at, [begin, finish])
    return bool(_hit(records.trace, rule)[low:high].any())


def _days(records: DayRecords, table: UnitTable, rule: Referral) -> set[int]:
    if rule.kind == "wake_at_least":
        return set(np.flatnonzero(table.frame["wake_glucose"] >= rule.at).tolist())
    hit = np.unique(records.trace.clock[_hit(records.trace, rule)] // DAY)
    return set((hit - records.days.number[0]).tolist()) if len(records.days) else set()
