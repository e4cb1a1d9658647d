"""What is written to a client's ledger whenever somebody looks at what the records show."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pandas as pd

from miner import ledger
from miner.api.past import Past, read_past
from miner.records.client import Client
from miner.records.synonyms import merged_now
from miner.results import Evidence, Ranking
from miner.tables.unit_table import UnitTable

BY_SETTINGS = ("file", "row", "left_out", "sensor", "tag")
"""Columns of a stream that no record holds, or that settings change."""

SAID_ALONE = ("code", "intake", "left_out", "calm", "pooled", "display_unit", "rank_unit")


def remember_ranking(
    client: Client,
    ranking: Ranking,
    table: UnitTable,
    span: tuple[str | None, str | None],
    now: datetime | None,
    *,
    second_look: bool,
) -> tuple[int, tuple[str, ...]]:
    """Write that these records were ranked; return how many rankings of them there are, and notes.

    A ranking of the same records with the same rules, settings, dates, seed, draws and days left
    out is not counted again. A folder that cannot be written is told.
    """
    past = read_past(client)
    left_out = sorted(item.day.isoformat() for item in client.settings.left_out)
    payload = {
        "records_hash": ranking.records_hash,
        "rules_hash": ranking.rules_hash,
        "settings_hash": settings_hash(client),
        "seed": ranking.seed,
        "draws": ranking.draws,
        "unit": ranking.unit,
        "primary_outcome": ranking.primary_outcome,
        "second_look": second_look,
        "first": span[0],
        "last": span[1],
        "left_out_hash": _digest("\n".join(left_out)),
        "left_out": left_out,
        "days": days_used(table, span),
        "day_hashes": day_hashes(client, days_used(table, span)),
        "last_day": ranking.to_day,
        "version": ranking.version,
        **merged_now(client.settings),
        "shown": [
            {"id": item.id, "evidence": str(item.evidence)}
            for item in ranking.hypotheses
            if item.evidence in (Evidence.CLEAR, Evidence.HINT)
        ],
    }
    known = past.rankings(first_day(table, span))
    if any(ledger.choices(event.payload) == ledger.choices(payload) for event in known):
        return len(known), past.notes
    told = _written(client, "ranked", payload, now, "This ranking")
    return len(known) + 1, (*past.notes, *told)


def remember_look(
    client: Client,
    past: Past,
    table: UnitTable,
    what: str,
    factors: Sequence[str],
    outcome: str,
    now: datetime | None,
) -> tuple[str, ...]:
    """Write that somebody looked at one question of these records; return notes.

    The same look at the same records is written once.
    """
    days = days_used(table, (None, None))
    payload = {
        "what": what,
        "unit": table.unit,
        "factors": list(factors),
        "outcome": outcome,
        "records_hash": client.records_hash,
        "last_day": days[-1] if days else None,
        **merged_now(client.settings),
    }
    if any(event.payload == payload for event in ledger.named(past.book, "looked")):
        return ()
    return _written(client, "looked", payload, now, "This look")


def settings_hash(client: Client) -> str:
    """Return a hash of the settings that change what a table holds or how it is ranked."""
    said = asdict(client.settings)
    kept = {name: said[name] for name in sorted(said) if name not in SAID_ALONE}
    return _digest(repr({name: _in_order(value) for name, value in kept.items()}))


def days_used(table: UnitTable, span: tuple[str | None, str | None]) -> list[str]:
    """Return the dates that hold a usable unit, ISO, in order."""
    dates = table.frame["date"][table.frame["usable"].to_numpy(dtype=bool)].astype(str)
    return sorted({day for day in dates if (span[0] or "") <= day <= (span[1] or "9999")})


def day_hashes(client: Client, days: Sequence[str]) -> dict[str, str]:
    """Return a hash of the records of each date, corrections included, whatever file holds them.

    What the settings make of a record (whose sensor, which word stands for a tag, what is left
    out) is no part of it.

    Args:
        client: as read.
        days: ISO dates, on the wall clock.
    """
    told: dict[str, list[str]] = {day: [] for day in days}
    for name, frame in client.streams.items():
        own = frame.drop(columns=[each for each in BY_SETTINGS if each in frame])
        clock = frame["clock" if "clock" in frame else "start_clock"].to_numpy()
        dates, days_of = np.unique(clock.astype("datetime64[D]"), return_inverse=True)
        # added up, so that the order of the rows is no part of it
        sums = np.zeros(len(dates), dtype=np.uint64)
        rows = pd.util.hash_pandas_object(own, index=False).to_numpy(np.uint64)
        np.add.at(sums, days_of, rows)
        for day, total in zip(dates.astype(str).tolist(), sums.tolist(), strict=True):
            if day in told:
                told[day].append(f"{name} {total:x}")
    return {day: _digest("\n".join(found))[:8] for day, found in told.items()}


def first_day(table: UnitTable, span: tuple[str | None, str | None]) -> str:
    """Return the first date that a ranking uses, ISO; that of the span where it uses none."""
    days = days_used(table, span)
    return days[0] if days else span[0] or ""


def _in_order(value: Any) -> Any:
    return sorted(value.items()) if isinstance(value, dict) else value


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _written(
    client: Client, event: str, payload: dict[str, Any], now: datetime | None, subject: str
) -> tuple[str, ...]:
    try:
        ledger.append(client.folder, event, payload, now or datetime.now(UTC))
    except ledger.LedgerUnwritable as error:
        return (f"{subject} could not be written to the ledger: {error.found}.",)
    return ()
