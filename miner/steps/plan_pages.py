"""A plan as the ledger holds it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from miner.core.results import Plan
from miner.ledger import as_written, replay
from miner.records.client import Client
from miner.steps.past import read_past


def written_plan(client: Client | Path, name: str) -> Plan | None:
    """Return a plan as it was written, to show or print again; None where there is none.

    Args:
        client: as read, or its folder.
        name: of the plan.

    Raises:
        MinerError: its entry cannot be read.
    """
    found = replay(read_past(client).book).plan(name)
    if found is None:
        return None
    told: dict[str, Any] = {
        key: tuple(value) if isinstance(value, list) else value
        for key, value in found.entry.payload.items()
        if key in Plan.__dataclass_fields__
    }
    with as_written("ledger.plan_unreadable", name):
        return Plan(**told | {"periods": found.what.periods})
