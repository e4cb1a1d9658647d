"""Adds a line to a ledger: one at a time, whole or told, and never over what stands there."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from filelock import Timeout

from miner.core import files
from miner.core.errors import MinerError
from miner.core.results import plain
from miner.ledger.last import NAME as LAST
from miner.ledger.last import gone, note, noted, unnoted
from miner.ledger.line import NAME, SCHEMA, Event, as_event, read_line, write_line
from miner.ledger.reading import contents, parse, quote, split

LOCK_NAME = ".ledger.lock"


class LedgerUnwritable(MinerError):  # noqa: N818 - it names what stands, not a fault
    """Nothing could be added to the ledger; what stood in it still stands."""


def append(
    folder: Path, event: str, payload: Mapping[str, Any], at: datetime, *, wait_s: float = 10
) -> Event:
    """Add one event to the ledger of a client folder and return it once it is on the disk.

    A torn line at the end is left where it is; an event ``recovered`` that quotes it, or that
    names the last line once noted where it is gone, is written before the new one.

    Args:
        folder: the client folder.
        event: what kind of event it is.
        payload: what it holds: plain values, results, dates, numpy scalars; a number that is not
            finite becomes null.
        at: the present time, with its zone.
        wait_s: how long to wait in seconds while another program writes.

    Raises:
        LedgerUnwritable: the folder, the disk or another program does not allow it.
        MinerError: the ledger cannot be read.
        ValueError: ``at`` has no zone, or the payload uses a name the line itself needs.
    """
    if at.utcoffset() is None:
        raise ValueError("no time zone")
    path = Path(folder) / NAME
    if not path.parent.is_dir():
        raise LedgerUnwritable("ledger.no_folder", file=path.parent)
    try:
        for own in (NAME, LAST, LOCK_NAME):
            files.require_no_link(path.with_name(own))
    except MinerError as error:
        raise _unwritable(error) from error
    try:
        with files.lock(path.with_name(LOCK_NAME), wait_s):
            return _add(path, event, plain(payload), at.isoformat())
    except Timeout as error:
        raise LedgerUnwritable("ledger.busy", file=path) from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise LedgerUnwritable("ledger.unwritable", file=path, reason=reason) from error


def _add(path: Path, event: str, payload: Mapping[str, Any], at: str) -> Event:
    data = contents(path)
    lines = split(data)
    _refuse_newer(lines, path)
    last, torn = _tail(lines)
    row = len(lines) + 1
    text = b"" if not data or data.endswith(b"\n") else b"\n"
    n, check = (last.n, last.check) if last else (0, "")
    events = parse(lines).events
    if not events and noted(path.parent) is None:
        note(path.parent, None, "")
    told = _recovered(path, events, torn)
    first = events[0].check if events else ""
    if told:
        line = write_line(n + 1, at, "recovered", told, check)
        text += line
        n, check, row = n + 1, _event(line, row).check, row + 1
        first = first or check
    line = write_line(n + 1, at, event, payload, check)
    _write(path, text + line)
    written = _event(line, row)
    note(path.parent, written, first)
    return written


def _recovered(path: Path, events: list[Event], torn: list[bytes]) -> dict[str, Any]:
    told: dict[str, Any] = {"torn": [quote(line) for line in torn]} if torn else {}
    missing = gone(path.parent, events, torn)
    if missing is not None:
        told["missing"] = missing._asdict()
    if unnoted(path.parent, events) and not any("unnoted" in e.payload for e in events):
        told["unnoted"] = True
    return told


def _refuse_newer(lines: list[bytes], path: Path) -> None:
    for row, line in enumerate(lines, 1):
        record = read_line(line)
        if record is not None and record["schema"] > SCHEMA:
            raise LedgerUnwritable("ledger.newer", file=path, row=row, schema=SCHEMA)


def _tail(lines: list[bytes]) -> tuple[Event | None, list[bytes]]:
    torn: list[bytes] = []
    for row in range(len(lines), 0, -1):
        record = read_line(lines[row - 1])
        if record is None:
            torn.insert(0, lines[row - 1])
            continue
        return as_event(record, row), torn
    return None, torn


def _event(line: bytes, row: int) -> Event:
    return as_event(json.loads(line), row)


def _write(path: Path, text: bytes) -> None:
    try:
        files.append(path, text)
    except MinerError as error:
        raise _unwritable(error) from error


def _unwritable(error: MinerError) -> LedgerUnwritable:
    values: dict[str, Any] = dict(error.values)
    return LedgerUnwritable(error.code, file=error.file, **values)
