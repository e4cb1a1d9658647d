"""The last entry noted beside the ledger, so that lines gone from its end, or all of it, are told.

A chain of checks cannot show that its own end is missing. ``.ledger.last`` holds the number and the
check of the last line written. Where it says more than the ledger does, lines are gone.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from miner.files import write_whole
from miner.ledger.line import Event, begins

NAME = ".ledger.last"


class Last(NamedTuple):
    """The number and the check of one line."""

    n: int
    check: str


def noted(folder: Path) -> Last | None:
    """Return the last line as it was noted, or None where nothing is noted or it is unreadable."""
    try:
        raw = json.loads((folder / NAME).read_text(encoding="utf-8"))
        found = Last(raw["n"], raw["check"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    return found if type(found.n) is int and isinstance(found.check, str) else None


def note(folder: Path, event: Event) -> None:
    """Note the last line, whole or not at all.

    Where that is not possible, the older note stands; it still holds of the ledger. Only one
    program at a time may do this: the one that holds the ledger's lock.
    """
    text = json.dumps({"n": event.n, "check": event.check}) + "\n"
    with contextlib.suppress(OSError):
        write_whole(folder / NAME, text, durable=False)


def gone(folder: Path, events: Sequence[Event], torn: Sequence[bytes] = ()) -> Last | None:
    """Return what was noted where the ledger no longer holds that line, else None.

    A damaged line at the end that still begins as the noted one is not gone.

    Args:
        folder: the client folder.
        events: those of the ledger, in order.
        torn: the lines at its end that cannot be read.
    """
    last = noted(folder)
    if last is None or any(event.n == last.n and event.check == last.check for event in events):
        return None
    changed = any(event.n >= last.n and not event.trusted for event in events)
    before = events[-1].n if events else 0
    damaged = last.n == before + 1 and any(line.startswith(begins(last.n)) for line in torn)
    return None if changed or damaged else last
