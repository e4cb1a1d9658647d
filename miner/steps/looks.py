"""What is written to a client's ledger when somebody looks, and what was changed since."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from miner import ledger
from miner.core import VERSION
from miner.core.messages import Message, Words, message
from miner.core.period import EVER, Period
from miner.core.results import Evidence, Ranking, Since
from miner.records.check.one_person import clock_prints
from miner.records.synonyms import merged_now
from miner.steps.client_ledger import ClientLedger, ledger_of

if TYPE_CHECKING:
    from miner.records.client import Client
    from miner.rulebook import RuleBook
    from miner.tables.unit_table import UnitTable

NEW = ("day_hashes", "readings", "version")
"""What a look holds of days that no look before it held: the same look again has none of it."""
NOT_WRITTEN = {
    "ranked": "steps.ranking_not_written",
    "looked": "steps.look_not_written",
    "shared": "steps.sharing_not_written",
    "verdict": "steps.no_verdict_written",
    "numbered": "steps.numbers_not_written",
}


@dataclass(frozen=True, slots=True)
class Looked:
    """What somebody looked at.

    Attributes:
        what: the kind of look, such as "ask" or "days".
        unit: "day" or "meal".
        days: ISO dates that were seen, in order.
        factors, outcome: of one question; nothing of all of them.
    """

    what: str
    unit: str
    days: Sequence[str]
    factors: Sequence[str] = ()
    outcome: str = ""


def add_entry(
    client: Client, event: str, payload: Mapping[str, Any], now: datetime | None
) -> tuple[Message, ...]:
    """Add an entry to a client's ledger; return a note where that is not possible."""
    try:
        ledger.append(client.folder, event, payload, now)
    except ledger.LedgerUnwritable as error:
        return (message(NOT_WRITTEN[event], why=error.found),)
    return ()


class RankedDays(NamedTuple):
    """The days that were ranked, ISO, and those that were asked for."""

    used: Sequence[str]
    asked: Period


def remember_ranking(
    client: Client,
    rules: RuleBook,
    past: ClientLedger,
    ranking: Ranking,
    days: RankedDays,
    now: datetime | None,
) -> tuple[int, tuple[Words, ...]]:
    """Write that these records were ranked; return how many rankings of them there are, and notes.

    A ranking of the same records with the same rules, settings, dates, seed, draws and days left
    out is not counted again. A folder that cannot be written is reported.
    """
    chosen = ("seed", "draws", "unit", "primary_outcome", "second_look")
    level = rules.guardrails.hint_level
    worth = {name: one.smallest_worth_it for name, one in rules.outcomes_of(ranking.unit).items()}
    payload = {
        "records_hash": ranking.records_hash,
        "rules_hash": ranking.rules_hash,
        "settings_hash": settings_hash(client),
        **{name: getattr(ranking, name) for name in chosen},
        "first": days.asked.first,
        "last": days.asked.last,
        "left_out_hash": digest("\n".join(days_left_out(client))),
        "days": days.used,
        "last_day": ranking.to_day,
        **_seen(client, past, days.used),
        "shown": [
            {"id": item.id, "evidence": str(item.evidence)}
            for item in ranking.hypotheses
            if item.evidence in (Evidence.CLEAR, Evidence.HINT)
        ],
        "not_told_apart": [item.id for item in ranking.not_told_apart(level, worth)],
    }
    known = past.rankings(first_of(days.used, days.asked))
    if any(ledger.choices(event.payload) == ledger.choices(payload) for event in known):
        return len(known), past.notes
    return len(known) + 1, (*past.notes, *add_entry(client, "ranked", payload, now))


def remember_look(
    client: Client, past: ClientLedger, looked: Looked, now: datetime | None = None
) -> tuple[Message, ...]:
    """Write that somebody looked at these records; return notes.

    The same look at the same records is written once.
    """
    payload = {
        "what": looked.what,
        "unit": looked.unit,
        "factors": list(looked.factors),
        "outcome": looked.outcome,
        "records_hash": client.records_hash,
        "settings_hash": settings_hash(client),
        "last_day": looked.days[-1] if looked.days else None,
        **_seen(client, past, looked.days),
    }
    for event in ledger.named(past.book, "looked"):
        if all(event.payload.get(name) == payload.get(name) for name in payload if name not in NEW):
            return ()
    return add_entry(client, "looked", payload, now)


def remember_shown(
    client: Client, unit: str, days: Sequence[str], *, now: datetime | None = None
) -> tuple[Words, ...]:
    """Write that somebody saw outcomes next to habits on some days, usable or not; return notes.

    Args:
        client: as read.
        unit: "day" or "meal".
        days: ISO dates in order.
        now: time of the ledger's entry; by default the clock's.
    """
    looked = Looked("day" if len(days) == 1 else "days", unit, days)
    return remember_look(client, ledger_of(client), looked, now)


def _seen(client: Client, past: ClientLedger, days: Sequence[str]) -> dict[str, Any]:
    """Return the hashes of days, and of their readings, that no look has written down yet."""
    known, last = past.first_hashes(VERSION), str(client.streams["glucose"]["clock"].max())[:10]
    # the last day of the records may not be over yet: what is added to it changes nothing
    whole = [day for day in days if day < last and day not in known]
    fresh = day_hashes(client, whole)
    return {
        **ledger.whose(client.settings.code, client.folder),
        "left_out": days_left_out(client),
        "day_hashes": fresh,
        "readings": {day: mark for day, mark in clock_prints(client).items() if day in fresh},
        "version": VERSION,
        **merged_now(client.settings),
    }


def days_used(table: UnitTable, period: Period = EVER) -> list[str]:
    """Return the dates that hold a usable unit, ISO, in order."""
    dates = table.frame["date"][table.frame["usable"].to_numpy(dtype=bool)].astype(str)
    return sorted({day for day in dates if day in period})


def first_of(days: Sequence[str], period: Period = EVER) -> str:
    """Return the first of the days that are used; that of the period where none is."""
    return days[0] if days else period.first or ""


SEEN = message("steps.seen_before")
LAST = "9999-12-30"


def since(client: Client, past: ClientLedger, after: str, until: str, entry: int) -> Since:
    """Return what was changed of the days after one day and up to another.

    Args:
        client: as read.
        past: its ledger.
        after: ISO date; days that start later count.
        until: ISO date of the last day that counts.
        entry: number of the entry that fixed or kept what is answered.
    """
    changed = tuple(day for day in changed_days(client, past) if after < day <= until)
    late = tuple(day for day in past.left_out_late(client) if after < day <= until)
    first = past.first_look(entry, after)
    before = None if first is None else first.payload.get("settings_hash")
    same_program = first is not None and first.payload.get("version") == VERSION
    return Since(
        changed=changed,
        left_out=late,
        seen=tuple(day for day in past.seen_before(entry) if after < day <= until),
        settings=same_program and before not in (None, settings_hash(client)),
    )


def changed_days(client: Client, past: ClientLedger) -> tuple[str, ...]:
    """Return days whose records are others than at the first look that saw them, ISO."""
    first = past.first_hashes(VERSION)
    now = day_hashes(client, list(first))
    return tuple(day for day, mark in sorted(first.items()) if now[day] != mark)


def without_seen(table: UnitTable, days: Sequence[str]) -> UnitTable:
    """Return the table, units of days that had been seen under other dates not usable."""
    if not days:
        return table
    frame = table.frame
    seen = frame["date"].astype(str).isin(list(days)) & frame["usable"].astype(bool)
    usable = np.where(seen, False, frame["usable"].to_numpy(dtype=bool))
    left_out: Any = [SEEN if one else why for one, why in zip(seen, frame["left_out"], strict=True)]
    return replace(table, frame=frame.assign(usable=usable, left_out=left_out))


def as_first_seen(client: Client, late: Sequence[str]) -> Client:
    """Return the client without the days that were left out after somebody had looked."""
    kept = [each for each in client.settings.left_out if each.day.isoformat() not in late]
    return replace(client, settings=replace(client.settings, left_out=tuple(kept)))


BY_SETTINGS = ("file", "row", "left_out", "sensor", "tag")
"""Columns of a stream that no record holds, or that settings change."""

SAID_ALONE = (
    "code",
    "intake",
    "left_out",
    "calm",
    "pooled",
    "display_unit",
    "rank_unit",
    "clinician",
    "a1c_percent",
)


def settings_hash(client: Client) -> str:
    """Return a hash of the settings that change what a table holds or how it is ranked."""
    said = asdict(client.settings)
    kept = {name: said[name] for name in sorted(said) if name not in SAID_ALONE}
    return digest(repr({name: _in_order(value) for name, value in kept.items()}))


def days_left_out(client: Client) -> list[str]:
    """Return the days that the client's settings leave out, ISO, in order."""
    return sorted(item.day.isoformat() for item in client.settings.left_out)


def day_hashes(client: Client, days: Sequence[str]) -> dict[str, str]:
    """Return a hash of the records of each date, corrections included, whatever file holds them.

    What the settings make of a record (whose sensor, which word stands for a tag, what is left
    out) is no part of it.

    Args:
        client: as read.
        days: ISO dates, on the wall clock; one without any record has the hash of nothing.
    """
    known = client.derived("day hashes", None, lambda: _of_all_days(client))
    nothing = _short([])
    return {day: known.get(day, nothing) for day in days}


def _of_all_days(client: Client) -> dict[str, str]:
    told: dict[str, list[str]] = {}
    for name, frame in client.streams.items():
        own = frame.drop(columns=[each for each in BY_SETTINGS if each in frame])
        clock = frame["clock" if "clock" in frame else "start_clock"].to_numpy()
        dates, days_of = np.unique(clock.astype("datetime64[D]"), return_inverse=True)
        # added up, so that the order of the rows is no part of it
        sums = np.zeros(len(dates), dtype=np.uint64)
        rows = pd.util.hash_pandas_object(own, index=False).to_numpy(np.uint64)
        np.add.at(sums, days_of, rows)
        for day, total in zip(dates.astype(str).tolist(), sums.tolist(), strict=True):
            told.setdefault(day, []).append(f"{name} {total:x}")
    return {day: _short(found) for day, found in told.items()}


def digest(text: str) -> str:
    """Return sixteen hexadecimal digits of the SHA-256 of a text."""
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _short(found: list[str]) -> str:
    return digest("\n".join(found))[:8]


def _in_order(value: Any) -> Any:
    return sorted(value.items()) if isinstance(value, dict) else value
