"""How far true differences spread across a practice's clients, for its shrinkage."""

from __future__ import annotations

import json
from pathlib import Path

from miner.caseload.store import NAME, SPREADS, Store, folder_of_unit
from miner.core.results.caseload import Caseload


def keep_spreads(store: Store, found: Caseload) -> None:
    """Write the spreads found from 20 clients on; without any, remove those kept before."""
    spreads = [[factor, outcome, value] for (factor, outcome), value in found.spreads().items()]
    if not spreads:
        (store.folder / SPREADS).unlink(missing_ok=True)
        return
    content = {"unit": found.unit, "clients": found.agreed, "spreads": sorted(spreads)}
    store.write(SPREADS, (json.dumps(content, indent=1) + "\n").encode())


def practice_spreads(client_folder: Path, unit: str) -> dict[tuple[str, str], float]:
    """Return (factor, outcome) -> spread found across the practice, empty where there is none.

    A file that cannot be read counts as none: it is made again by the next ``caseload``.
    """
    home = client_folder.resolve().parent / NAME
    path = folder_of_unit(home, unit) / SPREADS
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        if found["unit"] != unit:
            return {}
        return {
            (str(factor), str(outcome)): float(value)
            for factor, outcome, value in found["spreads"]
            if float(value) > 0
        }
    except (OSError, ValueError, KeyError, TypeError):
        return {}
