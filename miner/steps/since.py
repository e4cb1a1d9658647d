"""What was changed after somebody had looked, for every answer that rests on those days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from miner import __version__
from miner.core.messages import message
from miner.core.results import Since
from miner.records.client import Client, LeftOutDay
from miner.steps.day_hashes import day_hashes, settings_hash
from miner.steps.past import Past
from miner.tables.unit_table import UnitTable

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
    same_program = first is not None and first.payload.get("version") == __version__
    return Since(
        changed=changed,
        left_out=late,
        seen=tuple(day for day in past.seen_before(entry) if after < day <= until),
        settings=same_program and before not in (None, settings_hash(client)),
    )


def changed_days(client: Client, past: Past) -> tuple[str, ...]:
    """Return days whose records are others than at the first look that saw them, ISO."""
    first = past.first_hashes(__version__)
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
