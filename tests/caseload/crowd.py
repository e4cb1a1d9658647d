"""Work that takes a little while, for processes that are ended in the middle of it."""

from __future__ import annotations

import os
import time
from pathlib import Path

from miner.steps.caseload import Task, examine


def slowly(task: Task) -> tuple[str, bytes | None]:
    """Note which process looks at a client, then look."""
    notes = Path(os.environ["CROWD_NOTES"])
    (notes / f"{os.getpid()}-{task.folder}").touch()
    time.sleep(0.2)
    return examine(task)
