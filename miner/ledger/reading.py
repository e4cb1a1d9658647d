"""Reads a ledger: every event that can be read, and every place where the chain is broken."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from miner.core.errors import MinerError
from miner.core.results import Finding, Result
from miner.ledger.last import another, gone, of_another, unnoted
from miner.ledger.line import NAME, SCHEMA, Event, as_event, read_line
from miner.ledger.problems import broken, harmless, problem, unreadable


@dataclass(frozen=True, slots=True)
class Ledger(Result):
    """One client's ledger as read.

    Attributes:
        path: the file; it need not exist yet.
        events: every event that could be read, in the order of the file.
        problems: torn, edited, lost and reordered lines, and a clock set back.
        writable: whether a line could be added.
    """

    path: Path
    events: tuple[Event, ...]
    problems: tuple[Finding, ...]
    writable: bool

    @property
    def trusted(self) -> bool:
        """Whether no line was found edited, lost or out of order."""
        return all(event.trusted for event in self.events)


def read(folder: Path) -> Ledger:
    """Read ``ledger.jsonl`` in a client folder; a missing file is an empty ledger.

    Lines that are missing from its end are told where ``.ledger.last`` still names them.

    Args:
        folder: the client folder.

    Raises:
        MinerError: the file is there and cannot be read.
    """
    path = Path(folder) / NAME
    lines = split(contents(path))
    found = parse(lines)
    problems = list(found.problems)
    last = None if found.newer else gone(path.parent, found.events, found.torn)
    events = found.events
    foreign = of_another(path.parent, events)
    if foreign:
        events = [replace(event, trusted=False) for event in events]
        problems.append(problem("of_another", 1))
    if not found.newer and unnoted(path.parent, events):
        problems.append(problem("note_gone", None))
    if found.torn and not found.newer:
        row = len(lines) - len(found.torn) + 1
        code = "torn_end" if last is None else "torn_end_lost"
        problems.append(problem(code, row, count=len(found.torn)))
    if last is not None and not foreign:
        code = "ends_early" if lines else "gone"
        problems.append(problem(code, len(lines) or None, entry=last.n))
    writable = not found.newer and _may_write(path)
    return Ledger(path, tuple(events), tuple(problems), writable)


def owned(book: Ledger, whose: Mapping[str, str]) -> Ledger:
    """Return a ledger, entries that were written for another client not trusted, and told.

    An entry is another client's where neither the code nor the folder it names is this one's.

    Args:
        book: as read.
        whose: "client" and "folder" of the present client.
    """
    strange = [
        event
        for event in book.events
        if all(event.payload.get(name) not in (None, own) for name, own in whose.items())
    ]
    if not strange:
        return book
    events = tuple(
        replace(event, trusted=False) if event in strange else event for event in book.events
    )
    names = sorted({str(event.payload["client"]) for event in strange})
    shown = [name[:40] for name in names[:3]]
    found = problem("of_others", strange[0].row, count=len(strange), clients=shown)
    return replace(book, events=events, problems=(*book.problems, found))


class Parsed(NamedTuple):
    """What the lines of a ledger hold; ``torn`` are the unreadable ones at its end."""

    events: list[Event]
    problems: list[Finding]
    torn: list[bytes]
    newer: bool


def parse(lines: Sequence[bytes]) -> Parsed:
    """Return every event that can be read, and every place where the chain is broken."""
    events: list[Event] = []
    problems: list[Finding] = []
    torn: list[bytes] = []
    newer = False
    for row, line in enumerate(lines, 1):
        record = read_line(line)
        if record is None:
            torn.append(line)
            continue
        newer = record["schema"] > SCHEMA
        if newer:
            problems.append(problem("newer", row, schema=SCHEMA))
            break
        last = events[-1] if events else None
        doubts = [*unreadable(record, torn, row), *broken(record, line, last, row)]
        sound = (last is None or last.trusted) and not doubts
        problems += [*doubts, *harmless(record, torn, last, row)]
        event = as_event(record, row, sound)
        if _names_another(event, events):
            problems.append(problem("of_another", 1))
            events = [replace(item, trusted=False) for item in events]
        events.append(replace(event, latest=_latest(last, event)))
        torn = []
    return Parsed(events, problems, torn, newer)


def _names_another(event: Event, events: Sequence[Event]) -> bool:
    """Say whether an entry noted that the ledger above it was another than the one before."""
    missing = event.payload.get("missing") if event.event == "recovered" else None
    named = missing.get("first") if isinstance(missing, dict) else None
    return isinstance(named, str) and another(named, events)


def _latest(last: Event | None, event: Event) -> str:
    """Return the latest time above an entry where that is later than its own."""
    if last is None:
        return ""
    try:
        back = datetime.fromisoformat(event.at) < datetime.fromisoformat(last.written_by)
    except (ValueError, TypeError):
        return last.written_by
    return last.written_by if back else ""


def contents(path: Path) -> bytes:
    """Return the bytes of the file, none where it does not exist.

    Raises:
        MinerError: it is there and cannot be read.
    """
    if path.exists() and not path.is_file():  # to read from a pipe would wait for ever
        raise MinerError("ledger.is_folder" if path.is_dir() else "ledger.no_file", file=path)
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return b""
    except OSError as error:
        raise MinerError("ledger.unreadable", file=path, reason=error.strerror) from error


def split(data: bytes) -> list[bytes]:
    """Return the lines of the file without their line feeds."""
    lines = data.split(b"\n")
    return lines if lines[-1] else lines[:-1]


def _may_write(path: Path) -> bool:
    effective = os.access in os.supports_effective_ids
    target = path if path.exists() else path.parent
    return all(
        os.access(place, os.W_OK, effective_ids=effective) for place in (path.parent, target)
    )
