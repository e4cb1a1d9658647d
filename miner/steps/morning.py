"""The morning review: one day of one client, and what is on test on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from miner import ledger
from miner.core.messages import Message, MinerError, Words, by_rules, message
from miner.core.results import CautionKind
from miner.core.results.morning import Against, DayReview, OnTest, RiseOfDay
from miner.ledger import Kept, KeptEntry, PlanKept, replay
from miner.records.client import Client
from miner.records.write.notes import read_notes
from miner.records.write.ticks import read_ticks
from miner.rulebook import RuleBook
from miner.steps.records import refuse_stopped, rules_of
from miner.tables import cautions, tabulate
from miner.tables.columns import stamps
from miner.tables.day_review import (
    TOLERANCE,
    against_usual,
    newest_whole_day,
    noted_between,
    possible_pressure,
    rises_of,
)
from miner.tables.measures import DayRecords, records_of
from miner.tables.referral import calm_said, referrals_of_day
from miner.tables.unit_table import UnitTable


def running(client: Client, day: str, *, usable: bool, why: str) -> tuple[OnTest, ...]:
    """Return everything kept or on test that this day belongs to.

    Args:
        client: as read.
        day: ISO date.
        usable: whether the day counts in a ranking.
        why: why it does not.
    """
    story = replay(ledger.read(client.folder))
    ticks = read_ticks(client.folder).by_day
    found = []
    for item in story.open_on(day):
        plan = item.plan_open()
        if plan is not None:
            one = _planned(item, plan, day, ticks, usable, why)
        else:
            one = _watched(item, day, usable, why)
        if one is not None:
            found.append(one)
    return tuple(found)


def _watched(item: Kept, day: str, usable: bool, why: str) -> OnTest | None:
    since = item.what.suggested_by_days_to
    if item.as_ == "alternate" or day <= since:
        return None
    return _on_test(OnTest(item.id, item.as_, "", _named(item.what), usable, "", "", ""), why)


def _planned(
    item: Kept,
    plan: PlanKept,
    day: str,
    ticks: Mapping[tuple[str, str], str],
    usable: bool,
    why: str,
) -> OnTest | None:
    period = next((one for one in plan.what.periods if one.first <= day <= one.last), None)
    if period is None:
        return None
    first = period.first == day and period.leave_out_days > 0
    counted = usable and not first
    reason = why or message("steps.first_day_of_period")
    arm, what = period.arm, _named(item.what)
    tick = ticks.get((plan.name, day), "missing")
    found = OnTest(item.id, "alternate", plan.name, what, counted, arm, tick, "")
    return _on_test(found, reason)


def _on_test(found: OnTest, why: Words) -> OnTest:
    """Return it with how the day counts for it; never whether it agrees."""
    code = "steps.day_counted" if found.counted else "steps.day_not_counted"
    said = [message(code, what=found.what, why=why)]
    if found.kind == "alternate" and found.arm:
        said.append(message("steps.arm_change" if found.arm == "change" else "steps.arm_usual"))
    if found.tick == "missing":
        said.append(message("steps.tick_missing"))
    elif found.tick:
        said.append(message("steps.ticked", tick=found.tick))
    return replace(found, sentence=message("steps.on_test", said=said))


def _named(what: KeptEntry) -> str:
    return f"{' and '.join(what.factors)} with {what.outcome}"


OF_CLIENT = (CautionKind.INTAKE, CautionKind.MEDICINE)
ASKED_FOR, NEWEST = "asked for", message("steps.newest_whole_day")
MAX_OUTSIDE_ASKED = 3
OF_TRACKER = (
    "tables.not_worn_long_enough",
    "tables.no_tracker_record",
    "tables.no_time_awake",
    "tables.no_deep_sleep",
)
"""Why something is not known for want of the tracker."""


def records_by_day(client: Client, rules: RuleBook) -> DayRecords:
    """Return a client's streams cut into days, for accounts of several of them.

    Raises:
        MinerError: a finding of the check stops the work.
    """
    refuse_stopped(client)
    return records_of(client, rules)


def day_review(
    client: Client,
    date: str | None = None,
    rules: RuleBook | None = None,
    *,
    known: tuple[DayRecords, UnitTable] | None = None,
) -> DayReview:
    """Return a readable account of one day, wake to wake, and of the night that opens it.

    Args:
        client: as read.
        date: ISO date of the day; by default the newest day that the readings cover whole.
        rules: the rule books; by default those that apply to the client's folder.
        known: the records cut into days and their table, where they are made already.

    Raises:
        MinerError: the records hold no such day, or none whole.
    """
    refuse_stopped(client)
    books = rules_of(client, rules)
    records, table = known or (records_of(client, books), tabulate(client, books, "day"))
    place = _place(records, date)
    found = review_of(client, books, records, table, place, ASKED_FOR if date else NEWEST)
    return with_notes(found, client)


def with_notes(review: DayReview, client: Client) -> DayReview:
    """Return the account of a day with what the practitioner wrote on its date.

    Raises:
        MinerError: the notes cannot be read.
    """
    notes = (note for note in read_notes(client.folder) if note.date == review.date)
    return replace(review, notes=tuple(notes))


def review_of(
    client: Client, rules: RuleBook, records: DayRecords, table: UnitTable, k: int, chosen: Words
) -> DayReview:
    """Return the account of the day at a place of the client's days."""
    name = records.days.names[k]
    night = records.days.night[k]
    begin, finish = records.day(k)
    first = begin if night is None else night.start
    numbers, rises = against_usual(table, name, rules), rises_of(client, records, k)
    row = table.frame.loc[[name]].to_dict("records")[0]
    urgent = referrals_of_day(records, table, k, rules, client.settings.display_unit)
    unit = client.settings.display_unit
    lows = [
        by_rules(
            rules,
            "labels.pressure",
            start=_minute(start),
            end=_minute(end),
            lowest=lowest,
            display_unit=unit,
        )
        for start, end, lowest in possible_pressure(records, k)
    ]
    meals = len(records.eaten[k].occasions)
    said, _ = cautions(client, table, rules)
    food = not calm_said(client, rules)
    return DayReview(
        client=client.settings.code,
        date=name,
        chosen=chosen,
        usable=bool(row["usable"]),
        left_out=row["left_out"],
        start=_minute(int(records.days.start_clock[k])),
        end=_minute(int(records.days.end_clock[k])),
        of_client=tuple(item.text for item in said if item.kind in OF_CLIENT),
        first=(*urgent, *lows),
        night=_night(records, k, numbers, rules),
        numbers=numbers,
        rises=rises,
        on_test=running(client, name, usable=bool(row["usable"]), why=str(row["left_out"])),
        could_be_asked=_questions(client, rules, rises, numbers, meals, food),
        cautions=tuple(item.text for item in said if item.kind == "always"),
        curve=_curve(records, first, begin, finish),
        lanes=noted_between(client, first, finish),
        range=client.settings.range,
        last_reading=_last_reading(records, begin, finish),
    )


def _place(records: DayRecords, date: str | None) -> int:
    names = records.days.names
    if date is None:
        newest = newest_whole_day(records)
        if newest is None:
            raise MinerError("steps.no_whole_day")
        return newest
    if date not in names:
        if not names:
            raise MinerError("steps.no_days", day=date)
        raise MinerError("steps.no_such_day", day=date, first=names[0], last=names[-1])
    return names.index(date)


def _questions(
    client: Client,
    rules: RuleBook,
    rises: Sequence[RiseOfDay],
    numbers: Sequence[Against],
    meals: int,
    food: bool,
) -> tuple[Message, ...]:
    """Return what could be asked about a day: open questions, none of which says why.

    Args:
        client: as read.
        rules: the rule books.
        rises: of the day.
        numbers: of the day beside what is usual.
        meals: how many meals are logged.
        food: whether anything may be asked about meals.
    """
    asked, unit = [], client.settings.display_unit
    alone = tuple(rise for rise in rises if rise.unlogged)
    if food and alone:
        asked.append(by_rules(rules, "labels.about_rises", rises=alone, display_unit=unit))
    if food and not meals:
        asked.append(message("steps.nothing_logged"))
    outside = [item for item in numbers if item.inside is False][:MAX_OUTSIDE_ASKED]
    if outside:
        asked.append(by_rules(rules, "labels.not_as_usual", numbers=outside))
    if any(getattr(item.reason, "code", "") in OF_TRACKER for item in numbers):
        asked.append(message("steps.was_the_tracker_on"))
    return tuple(asked)


def _night(records: DayRecords, k: int, numbers: tuple[Against, ...], rules: RuleBook) -> Message:
    night = records.days.night[k]
    if night is None:
        why = records.no_night[k]
        return message("steps.no_night", why=why) if why else message("steps.night_not_recorded")
    hours = next((item for item in numbers if item.name == "asleep_hours"), None)
    start = _minute(night.episodes[0].start_clock)
    end = _minute(night.end_clock)
    return by_rules(rules, "labels.night", start=start, end=end, hours=hours)


def _curve(
    records: DayRecords, first: int, begin: int, finish: int
) -> tuple[tuple[float, float], ...]:
    trace = records.trace
    low, high = np.searchsorted(trace.at, [first, finish])
    shown = ~np.isnan(trace.value[low:high])
    minutes = (trace.at[low:high][shown] - begin) / 60
    return tuple(zip(minutes.tolist(), trace.value[low:high][shown].tolist(), strict=True))


def _last_reading(records: DayRecords, begin: int, finish: int) -> str:
    """Return the time of a day's last reading where it is well before the end of the day."""
    at = records.trace.at
    last = int(np.searchsorted(at, finish)) - 1
    if last < 0 or not begin <= at[last] < finish - TOLERANCE:
        return ""
    return _minute(int(records.trace.clock[last]))


def _minute(clock: int) -> str:
    return str(stamps(np.array(clock, dtype=np.int64)).astype("datetime64[m]"))
