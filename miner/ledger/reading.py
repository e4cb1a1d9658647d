"""Reads a ledger: every event that can be read, and every place where the chain is broken."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from miner.errors import MinerError
from miner.ledger import problems as told
from miner.ledger.last import gone
from miner.ledger.line import NAME, SCHEMA, Event, as_event, read_line
from miner.results import Finding, Result


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
    if found.torn and not found.newer:
        row = len(lines) - len(found.torn) + 1
        problems.append(told.torn_end(row, len(found.torn), lost=last is not None))
    if last is not None:
        problems.append(told.ends_early(len(lines), last.n))
    writable = not found.newer and _may_write(path)
    return Ledger(path, tuple(found.events), tuple(problems), writable)


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
            problems.append(told.newer(row))
            break
        last = events[-1] if events else None
        doubts = [*told.unreadable(record, torn, row), *told.broken(record, line, last, row)]
        sound = (last is None or last.trusted) and not doubts
        problems += [*doubts, *told.harmless(record, torn, last, row)]
        events.append(as_event(record, row, sound))
        torn = []
    return Parsed(events, problems, torn, newer)


def contents(path: Path) -> bytes:
    """Return the bytes of the file, none where it does not exist.

    Raises:
        MinerError: it is there and cannot be read.
    """
    if path.exists() and not path.is_file():  # to read from a pipe would wait for ever
        what = "a folder" if path.is_dir() else "no file"
        raise MinerError(
            f"this is {what}",
            "the ledger, a file that miner writes",
            "Move it elsewhere.",
            file=path,
        )
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return b""
    except OSError as error:
        raise MinerError(
            f"the ledger cannot be read ({error.strerror})",
            "a file this account may read",
            "Check who owns the file and the folder.",
            file=path,
        ) from error


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
