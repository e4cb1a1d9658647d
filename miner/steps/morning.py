"""The morning review: one day of one client."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from miner.core.errors import MinerError
from miner.core.results import CautionKind
from miner.core.results.morning import Against, DayReview
from miner.records.client import Client
from miner.records.write.notes import read_notes
from miner.rulebook import RuleBook
from miner.steps.records import refuse_stopped, rules_of
from miner.steps.running import running
from miner.tables import cautions, day_table
from miner.tables.clockwork import stamps
from miner.tables.day_notes import noted_between
from miner.tables.day_records import DayRecords, records_of
from miner.tables.day_review import (
    TOLERANCE,
    against_usual,
    newest_whole_day,
    possible_pressure,
    rises_of,
)
from miner.tables.referral import calm_said
from miner.tables.referral_of_day import referrals_of_day
from miner.tables.unit_table import UnitTable
from miner.words.amounts import Amounts
from miner.words.morning_words import night_words, pressure_words, questions

OF_CLIENT = (CautionKind.INTAKE, CautionKind.MEDICINE)
ASKED_FOR, NEWEST = "asked for", "the newest whole day"


def day_review(client: Client, date: str | None = None, rules: RuleBook | None = None) -> DayReview:
    """Return a readable account of one day, wake to wake, and of the night that opens it.

    Args:
        client: as read.
        date: ISO date of the day; by default the newest day that the readings cover whole.
        rules: the rule books; by default those that apply to the client's folder.

    Raises:
        MinerError: the records hold no such day, or none whole.
    """
    refuse_stopped(client)
    books = rules_of(client, rules)
    records, table = records_of(client, books), day_table(client, books)
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
    client: Client, rules: RuleBook, records: DayRecords, table: UnitTable, k: int, chosen: str
) -> DayReview:
    """Return the account of the day at a place of the client's days."""
    amounts = Amounts(client.settings.display_unit)
    name = records.days.names[k]
    night = records.days.night[k]
    begin, finish = records.day(k)
    first = begin if night is None else night.start
    numbers, rises = against_usual(table, name, rules), rises_of(client, records, k)
    row = table.frame.loc[[name]].to_dict("records")[0]
    urgent = referrals_of_day(records, table, k, rules, client.settings.display_unit)
    lows = [
        (_minute(start), _minute(end), lowest)
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
        first=(*map(str, urgent), *pressure_words(lows, amounts)),
        night=_night(records, k, numbers),
        numbers=numbers,
        rises=rises,
        on_test=running(client, name, usable=bool(row["usable"]), why=str(row["left_out"])),
        could_be_asked=questions(rises, numbers, meals, amounts, food=food),
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
            raise MinerError(
                "no day is covered from waking to waking",
                "readings of at least one whole day",
                "Name a day, or wait for the next export.",
            )
        return newest
    if date not in names:
        span = f"a day from {names[0]} to {names[-1]}" if names else "readings of at least one day"
        raise MinerError(f"the records hold no day {date}", span, "Name one of these days.")
    return names.index(date)


def _night(records: DayRecords, k: int, numbers: tuple[Against, ...]) -> str:
    night = records.days.night[k]
    if night is None:
        return night_words(None, None, None, records.no_night[k])
    hours = next((item for item in numbers if item.name == "asleep_hours"), None)
    start = _minute(night.episodes[0].start_clock)
    return night_words(start, _minute(night.end_clock), hours, "")


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
