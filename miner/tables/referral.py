"""What has to be shown first: when to refer, what a yes at the intake asks for, what is always."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace

import numpy as np

from miner.core.facts import TOPICS
from miner.core.messages import Message, Words, by_rules, message
from miner.core.results import CautionKind, CautionText
from miner.records.client import Client, Clinician
from miner.records.columns import MG_DL_PER_MMOL_L
from miner.rulebook import CautionClass, Cautions, ClassOfCaution, Referral, RuleBook
from miner.tables.columns import DAY, Floats, Mask, iso_day
from miner.tables.glucose.trace import Trace
from miner.tables.measures import DayRecords, records_of
from miner.tables.tag_days import Tags
from miner.tables.unit_table import UnitTable

LIFTS = ("", "informed", "agreed")


def cautions(
    client: Client, table: UnitTable, rules: RuleBook, *, days: int | None = None
) -> tuple[tuple[CautionText, ...], tuple[str, ...]]:
    """Return what has to be said beside any pattern, and what the intake did not ask.

    Each says what it holds back as yet, and what lifts that (``rules/cautions.toml``). What a
    clinician was told of on a date covers what the readings had shown by then, and no other rule
    that a later reading meets.

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
    yes = [name for name, told in answers.items() if told == "yes"]
    records = records_of(client, rules)
    names = [book.intake[name].asked for name, told in answers.items() if told == "not_asked"]
    span = message("tables.days", n=table.frame["date"].nunique() if days is None else days)
    patterns = [by_rule(text, days=span) for text in book.with_patterns]
    said = [
        *(_answered(name, client, book) for name in yes),
        *_referrals(client, records.trace, table, book),
        *_of_tags(client, records.tags, book),
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


def in_short(said: Sequence[CautionText]) -> tuple[Words, ...]:
    """Return what a client is to be told, what the client was told, and what is seen besides.

    In a few words each, for a line of many clients.
    """
    ahead = to_be_told(said)
    told = tuple(one.rests_on or one.said for one in said if one.class_ and one.informed)
    day = next((one.informed for one in said if one.informed), "")
    first = (CautionKind.REFERRAL, CautionKind.INTAKE, CautionKind.MEDICINE)
    return (
        *([message("tables.refer_first", why=ahead)] if ahead else []),
        *([message("tables.was_told", day=day, why=told)] if told else []),
        *(one.said for one in said if one.kind in first and not one.class_),
    )


def to_be_told(said: Sequence[CautionText]) -> tuple[Words, ...]:
    """Return what a client is to be told to see a clinician about, in a few words each."""
    return tuple(one.rests_on or one.said for one in said if one.comes_first)


def by_rule(text: str, **values: object) -> Message:
    """Return a text of a rule book with what its braces name."""
    return message("tables.by_rule", rule=text, **values)


def _answered(
    name: str, client: Client, book: Cautions, rests_on: Message | None = None
) -> CautionText:
    question = book.intake[name]
    rests_on = rests_on or message("tables.answered_yes", asked=question.asked)
    said = CautionText(
        CautionKind.INTAKE,
        question.when_yes,
        rests_on,
        question.client_action,
        medicine=question.asked if question.medicine else "",
    )
    if name == "diabetes" and client.settings.clinician.treats_diabetes:
        low, high = (limit_in(end, client.settings.display_unit) for end in client.settings.range)
        return replace(said, said=message("tables.treated", low=low, high=high))
    return _step(said, question.class_ or ("stop" if question.calm else "agree"), client, book)


def _step(
    said: CautionText, class_: ClassOfCaution, client: Client, book: Cautions, reached: str = ""
) -> CautionText:
    """Return a caution with what it holds back, and what lifts that.

    Args:
        said: the caution.
        class_: its class.
        client: as read.
        book: of the cautions.
        reached: the day on which the readings had met the rule, ISO; empty for an answer.
    """
    opened, settled = book.class_[class_], client.settings.clinician
    agreed = settled.agreed
    told = (day.isoformat() for day in (settled.informed, agreed) if day)
    informed = min((day for day in told if reached <= day), default="")
    covered = set(settled.covers) if agreed and reached <= agreed.isoformat() else set()
    free = set(opened.opened_by_informed) if informed else set()
    free |= set(opened.opened_by_agreed) & covered
    first = "agreed" if informed or not opened.opened_by_informed else "informed"
    ever = {*opened.opened_by_informed, *opened.opened_by_agreed}
    waiting = tuple(
        (topic, first if topic in ever else "") for topic in TOPICS if topic not in free
    )
    held = {topic for topic, lift in waiting if lift} - set(opened.opened_by_informed)
    agreement = tuple(topic for topic in TOPICS if topic in held)
    return replace(
        said,
        class_=class_,
        informed=informed,
        waiting=waiting,
        since=reached,
        agreement=agreement,
        opened=tuple(_opened(opened, settled, free, reached)),
        reason=_reason(said),
    )


def _reason(caution: CautionText) -> Message | str:
    why = caution.rests_on or caution.said
    return message("tables.reason_of_days", why=why, days=caution.days) if caution.days else why


def _opened(
    class_: CautionClass, settled: Clinician, free: Collection[str], reached: str
) -> Iterator[tuple[str, str]]:
    """Yield each topic that is open now with the first day that opened it."""
    for topic in (each for each in TOPICS if each in free):
        days = [
            day.isoformat()
            for each in (*settled.before, settled)
            for day, opens in (
                (each.informed, topic in class_.opened_by_informed),
                (each.agreed, topic in class_.opened_by_informed or topic in each.covers),
            )
            if day and opens and day.isoformat() >= reached
        ]
        yield topic, min(days)


def held_back(said: Sequence[CautionText], topic: str) -> tuple[tuple[CautionText, ...], str]:
    """Return the cautions that hold back habits of a topic and what opens it next.

    Args:
        said: what ``cautions`` returned.
        topic: sleep, stress, movement or meals.

    Returns:
        The cautions, and "informed", "agreed" or, where nothing opens it, an empty text.
    """
    held = {one: lift for one in said for held, lift in one.waiting if held == topic}
    lift = next((each for each in LIFTS if each in held.values()), "")
    return tuple(held), lift


def _not_asked(names: list[str], rules: RuleBook) -> list[Message]:
    named = message("tables.all_of_them", names=names)
    return [by_rules(rules, "cautions.not_asked", names=named)] if names else []


def _referrals(client: Client, trace: Trace, table: UnitTable, book: Cautions) -> list[CautionText]:
    told = []
    for rule in book.referral:
        if rule.for_diagnosis and client.settings.clinician.treats_diabetes:
            continue
        if rule.kind == "a1c_at_least":
            if (client.settings.a1c_percent or 0.0) >= rule.at:
                at = message("tables.limit_of_a1c", limit=rule.at)
                said = CautionText(
                    CautionKind.REFERRAL,
                    by_rule(rule.say, at=at),
                    message("tables.a1c_at_least", at=at),
                    rule.client_action,
                )
                told.append(_step(said, rule.class_, client, book))
            continue
        days, worst = _days_counted(rule, trace, table)
        if len(days) >= rule.days:
            limit = limit_in(rule.at, client.settings.display_unit)
            about = {"at": limit, "days": message("tables.days", n=len(days))}
            short = message(f"tables.{rule.kind}", **about)
            many = by_rule(rule.say_of_many, at=about["at"]) if rule.say_of_many else None
            text = by_rule(rule.say, **about, of_many=many, own=about["days"])
            told_so = (CautionKind.REFERRAL, text, short, rule.client_action)
            said = CautionText(*told_so, days=days, worst=worst)
            told.append(_step(said, rule.class_, client, book, days[rule.days - 1]))
    return told


def limit_in(mg_dl: float, unit: str) -> Message:
    """Return a limit in the unit the practice reads."""
    if unit == "mmol/L":
        return message("tables.limit_in_mmol", limit=mg_dl / MG_DL_PER_MMOL_L)
    return message("tables.limit_in_mg", limit=mg_dl)


def _days_counted(
    rule: Referral, trace: Trace, table: UnitTable
) -> tuple[tuple[str, ...], float | None]:
    """Return the ISO dates on which readings meet a rule, in order, and the worst value there."""
    if rule.kind == "wake_at_least":
        if "wake_glucose" not in table.outcomes:
            return (), None
        wake = table.frame["wake_glucose"].to_numpy(np.float64)
        met = wake >= rule.at
        return tuple(str(day) for day in table.frame["date"][met]), _worst(rule, wake[met])
    met = met_by(trace, rule)
    days = tuple(iso_day(int(day)) for day in np.unique(trace.clock[met] // DAY))
    return days, _worst(rule, trace.ordered[met])


def _worst(rule: Referral, values: Floats) -> float | None:
    """Return the highest value, of a low the lowest; None without any."""
    high = rule.kind in ("wake_at_least", "any_at_least")
    return float(values.max() if high else values.min()) if values.size else None


def met_by(trace: Trace, rule: Referral) -> Mask:
    """Return which readings meet a rule; all of a run of them that lasts long enough.

    A run goes on from one reading to the next of the same sensor within one and a half times the
    usual gap, and lasts as long as its readings stand for, to half a minute.
    """
    under = trace.below(rule.at)
    met = ~under if rule.kind == "any_at_least" else under
    if not rule.lasting_minutes or not met.any():
        return np.asarray(met, dtype=bool)
    gap = np.diff(trace.at) > 90 * trace.cadence[:-1]
    other = (np.diff(trace.sensor) != 0) | (np.diff(met.astype(np.int8)) != 0)
    run = np.concatenate(([0], np.cumsum(gap | other)))
    minutes = np.bincount(run, weights=trace.minutes)
    return np.asarray(met & (minutes[run] >= rule.lasting_minutes - 0.5), dtype=bool)


def _of_tags(client: Client, tags: Tags, book: Cautions) -> list[CautionText]:
    seen = {
        kind: tuple(message("tables.tag_on", tag=tag, day=iso_day(day)) for tag, day in own.items())
        for kind, own in tags.kinds.items()
    }
    said = []
    for kind, code in (("medicine", CautionKind.MEDICINE), ("pregnancy", CautionKind.INTAKE)):
        if seen[kind]:
            short = message(f"tables.of_{kind}", seen=seen[kind])
            one = CautionText(code, message(f"tables.{kind}", seen=seen[kind]), short)
            acting = tags.kinds["glucose_medicine"] if kind == "medicine" else {}
            if acting:
                one = replace(one, medicine="medicines")
                one = _step(one, "agree", client, book, iso_day(min(acting.values())))
            said.append(one)
            if kind in book.intake and code is CautionKind.INTAKE:
                said.append(_answered(kind, client, book, short))
    if seen["illness"]:
        about = {"seen": seen["illness"], "around": book.illness_days_around}
        said.append(CautionText(CautionKind.ILLNESS, message("tables.illness", **about)))
    return said


def referrals_of_day(
    records: DayRecords,
    table: UnitTable,
    k: int,
    rules: RuleBook,
    display_unit: str,
    said: Sequence[CautionText],
) -> tuple[Message, ...]:
    """Return what the rule book says of the readings of one day and the night that opens it.

    A rule that needs several days speaks where this day is one of them and there are enough. None
    speaks of what the client was told already, but for a low that came later.

    Args:
        records: the client's streams cut into days.
        table: the client's day table.
        k: place of the day.
        rules: the rule books.
        display_unit: "mg/dL" or "mmol/L".
        said: what ``cautions`` returned.
    """
    told = []
    for rule in rules.cautions.referral:
        caution = _of_rule(rule, said)
        if rule.kind == "a1c_at_least" or caution is None:
            continue
        again = rule.class_ == "refer" or records.days.names[k] <= caution.informed
        if caution.informed and again:
            continue
        days = _days(records, table, rule)
        mine = _mine(records, table, k, rule)
        if mine and len(days | {k}) >= rule.days:
            kind = "this_day" if rule.days == 1 else "this_day_among"
            count = message(f"tables.{kind}", n=len(days | {k}))
            told.append(by_rule(rule.say, at=limit_in(rule.at, display_unit), days=count))
    return tuple(told)


def _of_rule(rule: Referral, said: Sequence[CautionText]) -> CautionText | None:
    code = f"tables.{rule.kind}"
    own = (one for one in said if isinstance(one.rests_on, Message) and one.rests_on.code == code)
    return next(own, None)


def _mine(records: DayRecords, table: UnitTable, k: int, rule: Referral) -> bool:
    if rule.kind == "wake_at_least":
        return bool(table.frame["wake_glucose"].iloc[k] >= rule.at)
    night = records.days.night[k]
    begin, finish = records.day(k)
    begin = begin if night is None else night.start
    low, high = np.searchsorted(records.trace.at, [begin, finish])
    return bool(met_by(records.trace, rule)[low:high].any())


def _days(records: DayRecords, table: UnitTable, rule: Referral) -> set[int]:
    if rule.kind == "wake_at_least":
        return set(np.flatnonzero(table.frame["wake_glucose"] >= rule.at).tolist())
    hit = np.unique(records.trace.clock[met_by(records.trace, rule)] // DAY)
    return set((hit - records.days.number[0]).tolist()) if len(records.days) else set()
