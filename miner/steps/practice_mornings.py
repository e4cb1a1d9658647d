"""A practice on one screen: which client to look at first this morning."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

from miner.caseload.places import client_folders
from miner.core.messages import Message, MinerError, Words, message
from miner.core.results.morning import ClientMorning, DayReview, PracticeMorning
from miner.records import read_client
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.steps.morning import NEWEST, review_of
from miner.steps.records import load_rules, refuse_stopped
from miner.tables import tabulate
from miner.tables.columns import DAY, iso_day
from miner.tables.day_review import last_logged, newest_whole_day
from miner.tables.days import EPOCH
from miner.tables.measures import DayRecords, records_of
from miner.tables.referral import calm_said
from miner.tables.sleep.nights import Nights

ACTIVE_FOR_DAYS = 28
SILENT_DAYS = 2
LOGGED_BEFORE = 3


OWN = ("glucose*.csv", "client.toml", "ledger.jsonl")
EXPORTS = (".csv", ".tsv", ".txt", ".json", ".ndjson", ".jsonl", ".xlsx", ".zip")


def is_practice(folder: Path) -> bool:
    """Whether a folder holds client folders and no client's records of its own.

    Where nothing in it bears a name of miner's own, it is one if exports lie in its folders and
    none beside them.
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
        return client_morning(read_client(folder), load_rules(rules_folder, folder), on)

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
    calm = calm_said(client, rules)
    seen = records.trace.clock[records.trace.clock // DAY <= today]
    if not seen.size:
        return ClientMorning(
            client.settings.code, None, None, calm, stale=message("steps.no_readings")
        )
    newest = iso_day(int(seen.max()) // DAY)
    yesterday = (on - timedelta(days=1)).isoformat()
    stale = message("steps.newest_reading", day=newest) if newest < yesterday else ""
    found = ClientMorning(client.settings.code, newest, None, calm, stale=stale)
    k = newest_whole_by(records, on)
    if k is None:
        return found
    if review is None:
        told = review_of(client, rules, records, tabulate(client, rules, "day"), k, NEWEST)
    else:
        told = review(k)
    return _with_day(client, records, k, told, found)


def _with_day(
    client: Client, records: DayRecords, k: int, review: DayReview, found: ClientMorning
) -> ClientMorning:
    nudge, text = _nudge(client, records, k)
    return replace(
        found,
        day=review.date,
        look_first=(*found.look_first, *review.first),
        nudge=nudge,
        message="" if found.look_first else text,
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
