"""The last entry noted beside the ledger, so that lines gone from its end, or all of it, are told.

A chain of checks cannot show that its own end is missing. ``.ledger.last`` holds the number and the
check of the last line written, and the check of the first. Where it says more than the ledger does,
lines are gone; where it names another first line, another ledger was put in place; where it is not
there beside a ledger, nobody can tell. It is written before the first line, as number 0.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from miner.core.files import write_whole
from miner.ledger.line import Event, begins

NAME = ".ledger.last"


class Last(NamedTuple):
    """The number and the check of one line, and the check of the first line ("" unknown)."""

    n: int
    check: str
    first: str = ""


def noted(folder: Path) -> Last | None:
    """Return the last line as it was noted, or None where nothing is noted or it is unreadable."""
    try:
        raw = json.loads((folder / NAME).read_text(encoding="utf-8"))
        found = Last(raw["n"], raw["check"], raw.get("first", ""))
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    whole = isinstance(found.check, str) and isinstance(found.first, str)
    return found if type(found.n) is int and whole else None


def note(folder: Path, event: Event | None, first: str) -> None:
    """Note the last line, whole or not at all; None before the first is written.

    Where that is not possible, the older note stands; it still holds of the ledger. Only one
    program at a time may do this: the one that holds the ledger's lock.
    """
    last = Last(0, "") if event is None else Last(event.n, event.check, first or event.check)
    with contextlib.suppress(OSError):
        write_whole(folder / NAME, json.dumps(last._asdict()) + "\n", durable=False)


def of_another(folder: Path, events: Sequence[Event]) -> bool:
    """Say whether the ledger is another than the one that was noted: its first line is."""
    last = noted(folder)
    return last is not None and another(last.first, events)


def another(first: str, events: Sequence[Event]) -> bool:
    """Say whether events begin whole, and with another first line than one that was noted."""
    whole = bool(events) and events[0].n == 1 and events[0].trusted
    return bool(first) and whole and first != events[0].check


def unnoted(folder: Path, events: Sequence[Event]) -> bool:
    """Say whether there is a ledger and no note of its last line: nobody can tell what is gone."""
    return bool(events) and noted(folder) is None


def gone(folder: Path, events: Sequence[Event], torn: Sequence[bytes] = ()) -> Last | None:
    """Return what was noted where the ledger no longer holds that line, else None.

    A damaged line at the end that still begins as the noted one is not gone.

    Args:
        folder: the client folder.
        events: those of the ledger, in order.
        torn: the lines at its end that cannot be read.
    """
    last = noted(folder)
    if last is None or last.n == 0:
        return None
    if any(event.n == last.n and event.check == last.check for event in events):
        return None
    changed = any(event.n >= last.n and not event.trusted for event in events)
    before = events[-1].n if events else 0
    damaged = last.n == before + 1 and any(line.startswith(begins(last.n)) for line in torn)
    return None if changed or damaged else last
