"""What is written to a client's ledger whenever somebody looks at what the records show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np

from miner import ledger
from miner.core import VERSION
from miner.core.messages import Words, message
from miner.core.period import EVER, Period
from miner.core.results import Evidence, Ranking, Since
from miner.records.check.one_person import clock_prints
from miner.records.client import Client, LeftOutDay
from miner.records.synonyms import merged_now
from miner.steps.past import (
    Past,
    day_hashes,
    days_left_out,
    digest,
    last_reading,
    read_past,
    settings_hash,
    whose,
)
from miner.tables.unit_table import UnitTable

NEW = ("day_hashes", "readings", "version")
"""What a look holds of days that no look before it held: the same look again has none of it."""


def remember_ranking(
    client: Client,
    ranking: Ranking,
    table: UnitTable,
    period: Period,
    now: datetime | None,
    *,
    second_look: bool,
) -> tuple[int, tuple[Words, ...]]:
    """Write that these records were ranked; return how many rankings of them there are, and notes.

    A ranking of the same records with the same rules, settings, dates, seed, draws and days left
    out is not counted again. A folder that cannot be written is told.
    """
    past = read_past(client)
    left_out = days_left_out(client)
    payload = {
        "records_hash": ranking.records_hash,
        "rules_hash": ranking.rules_hash,
        "settings_hash": settings_hash(client),
        "seed": ranking.seed,
        "draws": ranking.draws,
        "unit": ranking.unit,
        "primary_outcome": ranking.primary_outcome,
        "second_look": second_look,
        "first": period.first,
        "last": period.last,
        "left_out_hash": digest("\n".join(left_out)),
        "days": days_used(table, period),
        "last_day": ranking.to_day,
        **_seen(client, past, days_used(table, period)),
        **merged_now(client.settings),
        "shown": [
            {"id": item.id, "evidence": str(item.evidence)}
            for item in ranking.hypotheses
            if item.evidence in (Evidence.CLEAR, Evidence.HINT)
        ],
    }
    known = past.rankings(first_day(table, period))
    if any(ledger.choices(event.payload) == ledger.choices(payload) for event in known):
        return len(known), past.notes
    told = _written(client, "ranked", payload, now)
    return len(known) + 1, (*past.notes, *told)


def remember_look(
    client: Client,
    past: Past,
    table: UnitTable,
    what: str,
    factors: Sequence[str],
    outcome: str,
    now: datetime | None,
) -> tuple[Words, ...]:
    """Write that somebody looked at one question of these records; return notes.

    The same look at the same records is written once.
    """
    days = days_used(table, EVER)
    return _remember(client, past, table.unit, what, (factors, outcome), days, now)


def remember_shown(
    client: Client, unit: str, days: Sequence[str], *, now: datetime | None = None
) -> tuple[Words, ...]:
    """Write that somebody saw outcomes beside habits on some days, usable or not; return notes.

    Args:
        client: as read.
        unit: "day" or "meal".
        days: ISO dates in order.
        now: time of the ledger's entry; by default the clock's.
    """
    what = "day" if len(days) == 1 else "days"
    return _remember(client, read_past(client), unit, what, ((), ""), days, now)


def _remember(
    client: Client,
    past: Past,
    unit: str,
    what: str,
    asked: tuple[Sequence[str], str],
    days: Sequence[str],
    now: datetime | None,
) -> tuple[Words, ...]:
    payload = {
        "what": what,
        "unit": unit,
        "factors": list(asked[0]),
        "outcome": asked[1],
        "records_hash": client.records_hash,
        "settings_hash": settings_hash(client),
        "last_day": days[-1] if days else None,
        **_seen(client, past, days),
        **merged_now(client.settings),
    }
    for event in ledger.named(past.book, "looked"):
        if all(event.payload.get(name) == payload.get(name) for name in payload if name not in NEW):
            return ()
    return _written(client, "looked", payload, now)


def _seen(client: Client, past: Past, days: Sequence[str]) -> dict[str, Any]:
    """Return the hashes of days, and of their readings, that no look has written down yet."""
    known, last = past.first_hashes(VERSION), last_reading(client)
    # the last day of the records may not be over yet: what is added to it changes nothing
    whole = [day for day in days if day < last and day not in known]
    fresh = day_hashes(client, whole)
    prints = {day: mark for day, mark in clock_prints(client).items() if day in fresh}
    return {
        **whose(client.settings, client.folder),
        "left_out": days_left_out(client),
        "day_hashes": fresh,
        "readings": prints,
        "version": VERSION,
    }


def days_used(table: UnitTable, period: Period) -> list[str]:
    """Return the dates that hold a usable unit, ISO, in order."""
    dates = table.frame["date"][table.frame["usable"].to_numpy(dtype=bool)].astype(str)
    return sorted({day for day in dates if day in period})


def first_day(table: UnitTable, period: Period) -> str:
    """Return the first date that a ranking uses, ISO; that of the period where it uses none."""
    days = days_used(table, period)
    return days[0] if days else period.first or ""


def _written(
    client: Client, event: str, payload: dict[str, Any], now: datetime | None
) -> tuple[Words, ...]:
    try:
        ledger.append(client.folder, event, payload, now or datetime.now(UTC))
    except ledger.LedgerUnwritable as error:
        code = "steps.ranking_not_written" if event == "ranked" else "steps.look_not_written"
        return (message(code, why=error.found),)
    return ()


SEEN = message("steps.seen_before")
LAST = "9999-12-30"


def since(client: Client, past: Past, after: str, until: str, entry: int) -> Since:
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


def changed_days(client: Client, past: Past) -> tuple[str, ...]:
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
    kept: tuple[LeftOutDay, ...] = tuple(
        item for item in client.settings.left_out if item.day.isoformat() not in late
    )
    return replace(client, settings=replace(client.settings, left_out=kept))
