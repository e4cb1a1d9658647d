"""Practices that are invented: the demo, and as many clients as are asked for."""

from __future__ import annotations

import json
from pathlib import Path

from miner.caseload.running import Pace, Progress
from miner.core import resources
from miner.core.files import whole_file


def write_demo(folder: Path) -> Path:
    """Write the invented practice and return the folder of the client to rank."""
    truth = resources.invented().write_practice(Path(folder))
    return Path(folder) / str(min(truth["clients"]))


def generate(
    practice: Path, clients: int, days: int, seed: int = 0, *, progress: Progress | None = None
) -> None:
    """Write an invented practice; the same numbers give the same bytes.

    Args:
        practice: a new or empty folder.
        clients: how many.
        days: days of records each.
        seed: of everything random.
        progress: told how far it has come.
    """
    invented = resources.invented()
    pace = Pace(clients, progress, "clients")
    invented.write_practice(practice, ())
    with whole_file(practice / "truth.json", durable=False) as file:
        file.write(b'{"invented": true, "clients": {')
        for at, one in enumerate(invented.scenarios(clients, days, seed)):
            truth = invented.write_client(practice / one.code, one)
            head = ",\n" if at else "\n"
            file.write(f"{head}{json.dumps(one.code)}: {json.dumps(truth)}".encode())
            pace.step()
        file.write(b"\n}}\n")
