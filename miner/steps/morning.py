"""The morning review: one day of one client, and the newest day of each of a practice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from miner.caseload.places import client_folders
from miner.core.messages import Message, MinerError, Words, by_rules, message
from miner.core.results import CautionKind
from miner.core.results.morning import (
    Against,
    ClientMorning,
    DayReview,
    PracticeMorning,
    RiseOfDay,
)
from miner.records import read_client
from miner.records.client import Client
from miner.records.write.notes import read_notes
from miner.rulebook import RuleBook
from miner.steps.on_test import running
from miner.steps.opening import opened, refuse_stopped, rules_of
from miner.steps.ticking import days_not_ticked
from miner.tables import cautions, tabulate
from miner.tables.columns import DAY, iso_day, stamps
from miner.tables.day_review import (
    TOLERANCE,
    against_usual,
    last_logged,
    newest_whole_day,
    noted_between,
    possible_pressure,
    rises_of,
)
from miner.tables.days import EPOCH
from miner.tables.measures import DayRecords, records_of
from miner.tables.referral import calm_said, referrals_of_day, to_be_told
from miner.tables.sleep.nights import Nights
from miner.tables.unit_table import UnitTable

OF_CLIENT = (CautionKind.INTAKE, CautionKind.MEDICINE)
ASKED_FOR, NEWEST = "asked for", message("steps.newest_whole_day")
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
    client, books = opened(client, rules)
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
    client: Client,
    rules: RuleBook,
    records: DayRecords,
    table: UnitTable,
    k: int,
    chosen: Words = NEWEST,
) -> DayReview:
    """Return the account of the day at a place of the client's days."""
    name = records.days.names[k]
    night = records.days.night[k]
    begin, finish = records.day(k)
    first = begin if night is None else night.start
    numbers, rises = against_usual(table, name, rules), rises_of(client, records, k)
    row = table.frame.loc[[name]].to_dict("records")[0]
    unit = client.settings.display_unit
    said, _ = cautions(client, table, rules)
    urgent = referrals_of_day(records, table, k, rules, unit, said)
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
    food = not calm_said(client, rules)
    return DayReview(
        client=client.settings.code,
        date=name,
        chosen=chosen,
        usable=bool(row["usable"]),
        left_out=row["left_out"],
        start=_minute(int(records.days.start_clock[k])),
        end=_minute(int(records.days.end_clock[k])),
        of_client=tuple(item for item in said if item.class_ or item.kind in OF_CLIENT),
        first=(*urgent, *lows),
        night=_night(records, k, numbers, rules),
        numbers=numbers,
        rises=rises,
        on_test=running(client, name, rules, usable=bool(row["usable"]), why=str(row["left_out"])),
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
        numbers: of the day next to what is usual.
        meals: how many meals are logged.
        food: whether anything may be asked about meals.
    """
    asked, unit = [], client.settings.display_unit
    alone = tuple(rise for rise in rises if rise.unlogged)
    if food and alone:
        asked.append(by_rules(rules, "labels.about_rises", rises=alone, display_unit=unit))
    if food and not meals:
        asked.append(message("steps.nothing_logged"))
    if extremes := [item for item in numbers if item.extreme]:
        asked.append(by_rules(rules, "labels.not_as_usual", numbers=extremes))
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


ACTIVE_FOR_DAYS = 28
SILENT_DAYS = 2
LOGGED_BEFORE = 3


OWN = ("glucose*.csv", "client.toml", "ledger.jsonl")
EXPORTS = (".csv", ".tsv", ".txt", ".json", ".ndjson", ".jsonl", ".xlsx", ".zip")


def is_practice(folder: Path) -> bool:
    """Whether a folder holds client folders and no client's records of its own.

    Where nothing in it bears a name of miner's own, it is one if exports are in its folders and
    none next to them.
    """
    if not folder.is_dir() or any(any(folder.glob(pattern)) for pattern in OWN):
        return False
    shared = any((folder / name).is_file() for name in ("practice.toml", "truth.json"))
    if shared or any(any(folder.glob(f"*/{pattern}")) for pattern in OWN):
        return True
    return not _exports(folder, "*") and _exports(folder, "*/*")


def _exports(folder: Path, pattern: str) -> bool:
    return any(path.suffix.lower() in EXPORTS for path in folder.glob(pattern) if path.is_file())


Look = Callable[[Path], ClientMorning]


def practice_morning(
    practice: Path,
    on: date,
    rules_folder: Path | None = None,
    *,
    names: Sequence[str] | None = None,
    look: Look | None = None,
) -> PracticeMorning:
    """Return every client of a practice in the first group that fits.

    Look first: an intake that asks for no numbers, and perhaps no tracking; readings that call
    for a clinician, and lows that may be pressure, on the newest whole day. Nudge: nothing logged
    on its last two days, or no sleep recorded. Stale: the newest reading is not of yesterday or
    today. On test: something kept or on test. Else ordinary. A client whose newest reading is
    more than four weeks old, with nothing on test, is in no active phase.

    Args:
        practice: the practice's folder.
        on: the morning.
        rules_folder: rule books that replace those of the practice.
        names: the client folders to look at; by default all of them.
        look: how one is looked at; by default it is read.

    Raises:
        MinerError: it is not a folder of client folders.
    """

    def read(folder: Path) -> ClientMorning:
        return client_morning(read_client(folder), rules_of(folder, rules_folder), on)

    looked: list[tuple[str, ClientMorning]] = []
    unreadable: list[tuple[str, str]] = []
    for name in client_folders(str(practice)) if names is None else names:
        try:
            looked.append((name, (look or read)(practice / name)))
        except MinerError as error:
            unreadable.append((name, error.message))
    groups: dict[str, list[ClientMorning]] = {name: [] for name in GROUPS}
    resting: list[tuple[str, str]] = []
    oldest = (on - timedelta(days=ACTIVE_FOR_DAYS)).isoformat()
    for found in _told_apart(looked):
        if not found.on_test and (found.newest or "") < oldest:
            resting.append((found.client, found.newest or "no reading"))
        else:
            groups[_group(found)].append(found)
    sorted_groups = {name: tuple(items) for name, items in groups.items()}
    return PracticeMorning(
        practice.resolve().name,
        on.isoformat(),
        **sorted_groups,
        not_active=tuple(resting),
        unreadable=tuple(unreadable),
        note=message("steps.no_safety_watch"),
    )


GROUPS = ("look_first", "nudge", "stale", "on_test", "ordinary")


def _told_apart(looked: Sequence[tuple[str, ClientMorning]]) -> list[ClientMorning]:
    """Return the clients, those of one code by their folders too."""
    count = Counter(found.client for _, found in looked)
    return [
        replace(found, client=f"{found.client} in {name}") if count[found.client] > 1 else found
        for name, found in looked
    ]


def _group(found: ClientMorning) -> str:
    return next((name for name in GROUPS[:-1] if getattr(found, name)), "ordinary")


def newest_whole_by(records: DayRecords, on: date) -> int | None:
    """Return the place of the newest day that the readings cover whole on a morning, or None."""
    return newest_whole_day(records, (on - EPOCH).days)


def client_morning(
    client: Client,
    rules: RuleBook,
    on: date,
    *,
    records: DayRecords | None = None,
    review: Callable[[int], DayReview] | None = None,
) -> ClientMorning:
    """Return what one client's newest whole day asks for.

    Args:
        client: as read.
        rules: the rule books.
        on: the morning.
        records: the client's days, where they are known already.
        review: gives the account of the day at a place of these days, where that is known.
    """
    refuse_stopped(client)
    records = records or records_of(client, rules)
    today = (on - EPOCH).days
    said, _ = cautions(client, tabulate(client, rules, "day"), rules)
    calm = calm_said(client, rules)
    why = to_be_told([one for one in said if one.class_ != "stop"])
    first: tuple[Words, ...] = (*calm, *([message("steps.refer_first", why=why)] if why else []))
    seen = records.trace.clock[records.trace.clock // DAY <= today]
    if not seen.size:
        return ClientMorning(
            client.settings.code, None, None, first, stale=message("steps.no_readings")
        )
    newest = iso_day(int(seen.max()) // DAY)
    yesterday = (on - timedelta(days=1)).isoformat()
    stale = message("steps.newest_reading", day=newest) if newest < yesterday else ""
    missing = days_not_ticked(client.folder, yesterday)
    found = ClientMorning(
        client.settings.code, newest, None, first, stale=stale, not_ticked=missing
    )
    k = newest_whole_by(records, on)
    if k is None:
        return found
    if review is None:
        told = review_of(client, rules, records, tabulate(client, rules, "day"), k)
    else:
        told = review(k)
    made = _with_day(client, records, k, told, found)
    return replace(made, message="") if calm else made


def _with_day(
    client: Client, records: DayRecords, k: int, review: DayReview, found: ClientMorning
) -> ClientMorning:
    nudge, text = _nudge(client, records, k)
    return replace(
        found,
        day=review.date,
        look_first=(*found.look_first, *review.first),
        nudge=nudge,
        message=text,
        on_test=review.on_test,
    )


def _nudge(client: Client, records: DayRecords, k: int) -> tuple[tuple[Message, ...], Words]:
    """Return what stopped and a message ready to send; only what had been going on can stop."""
    said: list[Message] = []
    text: Words = ""
    number = int(records.days.number[k])
    night = _last_night(records.nights, number)
    if night is not None and number - night >= SILENT_DAYS:
        said.append(message("steps.no_night_since", day=iso_day(night)))
        text = message("steps.to_client_tracker", day=iso_day(night))
    logged = last_logged(client, int(records.days.end_clock[k]))
    begin = int(records.days.start_clock[max(k - SILENT_DAYS + 1, 0)])
    if logged is not None and logged < begin and _logged_days(records) >= LOGGED_BEFORE:
        last = iso_day(logged // DAY)
        said.append(message("steps.nothing_logged_since", day=last))
        text = message("steps.to_client_log", day=last)
    return tuple(said), text


def _last_night(nights: Nights, until: int) -> int | None:
    return max((day for day in nights.by_day if day <= until), default=None)


def _logged_days(records: DayRecords) -> int:
    tagged = {k for rows in records.tags.rows.values() for k in rows}
    eaten = {k for k, day in enumerate(records.eaten) if day.occasions}
    return len(tagged | eaten)
