"""Reads a ledger and adds to it: what can be read, and every place where the chain is broken.

What is wrong is a finding a line. A chain of checks cannot show that its own end is missing:
``.ledger.last`` holds the number and the check of the last line written, and the check of the
first. Where it says more than the ledger does, lines are gone; where it names another first line,
another ledger was put in place; where it is not there next to a ledger, nobody can tell. It is
written before the first line, as number 0.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

from filelock import Timeout

from miner.core import files
from miner.core.facts import Result, plain
from miner.core.messages import Message, MinerError, Severity, message
from miner.core.results.checking import Finding
from miner.ledger.line import (
    NAME,
    SCHEMA,
    Event,
    as_event,
    begins,
    read_line,
    untouched,
    write_line,
)

LAST = ".ledger.last"

BACK = timedelta(days=1)
# An entry is dated when its program begins to write; of two at once the later may be written first.
AT_ONCE = timedelta(minutes=1)
_START = b'{"schema": '


class Last(NamedTuple):
    """The number and the check of one line, and the check of the first line ("" unknown)."""

    n: int
    check: str
    first: str = ""


def noted(folder: Path) -> Last | None:
    """Return the last line as it was noted, or None where nothing is noted or it is unreadable."""
    try:
        raw = json.loads((folder / LAST).read_text(encoding="utf-8"))
        found = Last(raw["n"], raw["check"], raw.get("first", ""))
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    whole = isinstance(found.check, str) and isinstance(found.first, str)
    return found if type(found.n) is int and whole else None


def note(folder: Path, event: Event | None, first: str) -> None:
    """Note the last line, whole or not at all; None before the first is written.

    Where that is not possible, the older note stays; it still holds of the ledger. Only one
    program at a time may do this: the one that holds the ledger's lock.
    """
    last = Last(0, "") if event is None else Last(event.n, event.check, first or event.check)
    with contextlib.suppress(OSError):
        files.write_whole(folder / LAST, json.dumps(last._asdict()) + "\n", durable=False)


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


def problem(
    code: str,
    row: int | None,
    *,
    count: int = 1,
    severity: Severity = Severity.QUESTION,
    **values: object,
) -> Finding:
    """Return a finding about the ledger; ``words/texts/findings-ledger.toml`` has its texts."""
    return Finding(severity, NAME, row, f"ledger_{code}", count, values=values)


def quote(line: bytes) -> dict[str, Any]:
    """Return what the ledger says of a torn line: its hash, its length, how it begins."""
    return {
        "sha256": hashlib.sha256(line).hexdigest(),
        "bytes": len(line),
        "begins": line[:200].decode("utf-8", "backslashreplace"),
    }


def unreadable(record: dict[str, Any], torn: Sequence[bytes], row: int) -> Iterator[Finding]:
    """Report lines that cannot be read and that this next line does not account for."""
    if torn and not _recovers(record, torn):
        yield problem("unreadable_line", row - len(torn), count=len(torn))


def broken(record: dict[str, Any], line: bytes, last: Event | None, row: int) -> Iterator[Finding]:
    """Report a line that was changed, or that does not follow the one before it."""
    if not untouched(record, line):
        yield problem("changed_line", row)
    expected = last.n + 1 if last else 1
    if record["n"] != expected or record["previous"] != (last.check if last else ""):
        yield problem("gap", row, gap=_gap(record["n"], expected), next=expected)


def harmless(
    record: dict[str, Any], torn: Sequence[bytes], last: Event | None, row: int
) -> Iterator[Finding]:
    """Report what breaks no chain: torn and lost lines accounted for, a clock set back."""
    if torn and _recovers(record, torn):
        yield _accounted_for(torn, row)
    if record["event"] == "recovered" and isinstance(missing := record.get("missing"), dict):
        yield problem("end_was_gone", row, entry=missing.get("n"))
    if record["event"] == "recovered" and record.get("unnoted") is True:
        yield problem("note_was_gone", row)
    back = _earlier(record["at"], last.at) if last is not None else None
    if back is not None:
        code, matters = ("clock_days_back", Severity.QUESTION)
        if back < BACK:
            code, matters = ("clock_back", Severity.NOTE)
        yield problem(code, row, severity=matters, entry=record["n"], at=record["at"])


def _recovers(record: dict[str, Any], torn: Sequence[bytes]) -> bool:
    return record["event"] == "recovered" and record.get("torn") == [quote(line) for line in torn]


def _gap(n: int, expected: int) -> Message:
    if n == expected + 1:
        return message("ledger.gap_one", expected=expected)
    if n > expected:
        return message("ledger.gap_several", expected=expected, last=n - 1)
    if n < expected:
        return message("ledger.gap_order", entry=n, expected=expected)
    return message("ledger.gap_before", entry=n)


def _earlier(at: str, before: str) -> timedelta | None:
    try:
        back = datetime.fromisoformat(before) - datetime.fromisoformat(at)
    except (ValueError, TypeError):
        return None
    return back if back > AT_ONCE else None


def _accounted_for(torn: Sequence[bytes], row: int) -> Finding:
    code, matters = "torn_line", Severity.NOTE
    if any(not (line.startswith(_START) or _START.startswith(line)) for line in torn):
        code, matters = "foreign_line", Severity.QUESTION
    elif any(b'"fixed"' in line for line in torn):
        code, matters = "torn_question", Severity.QUESTION
    return problem(code, row - len(torn), count=len(torn), severity=matters)


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

    Lines that are missing from its end are reported where ``.ledger.last`` still names them.

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


def whose(code: str, folder: Path) -> dict[str, str]:
    """Return what an entry says of the client it is written for."""
    return {"client": code, "folder": folder.resolve().name}


def owned(book: Ledger, code: str) -> Ledger:
    """Return a ledger, entries that were written for another client not trusted, and reported.

    An entry is another client's where neither the code nor the folder it names is this one's.

    Args:
        book: as read.
        code: of the present client.
    """
    here = whose(code, book.path.parent).items()
    strange = [
        event
        for event in book.events
        if all(event.payload.get(name) not in (None, own) for name, own in here)
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
    """What the lines of a ledger hold.

    Attributes:
        torn: the unreadable lines at its end.
        newer: the line from which on it is of a newer program, or 0.
    """

    events: list[Event]
    problems: list[Finding]
    torn: list[bytes]
    newer: int = 0


def parse(lines: Sequence[bytes]) -> Parsed:
    """Return every event that can be read, and every place where the chain is broken."""
    events: list[Event] = []
    problems: list[Finding] = []
    torn: list[bytes] = []
    for row, line in enumerate(lines, 1):
        record = read_line(line)
        if record is None:
            torn.append(line)
            continue
        if record["schema"] > SCHEMA:
            problems.append(problem("newer", row, schema=SCHEMA))
            return Parsed(events, problems, torn, row)
        last = events[-1] if events else None
        doubts = [*unreadable(record, torn, row), *broken(record, line, last, row)]
        sound = (last is None or last.trusted) and not doubts
        problems += [*doubts, *harmless(record, torn, last, row)]
        event = as_event(record, row, trusted=sound)
        if _names_another(event, events):
            problems.append(problem("of_another", 1))
            events = [replace(item, trusted=False) for item in events]
        events.append(replace(event, latest=_latest(last, event)))
        torn = []
    return Parsed(events, problems, torn)


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


LOCK_NAME = ".ledger.lock"


class LedgerUnwritable(MinerError):  # noqa: N818 - it names what stands, not a fault
    """Nothing could be added to the ledger; what was in it is kept."""


def append(
    folder: Path,
    event: str,
    payload: Mapping[str, Any],
    at: datetime | None = None,
    *,
    wait_s: float = 10,
) -> Event:
    """Add one event to the ledger of a client folder and return it once it is on the disk.

    A torn line at the end is left where it is; an event ``recovered`` that quotes it, or that
    names the last line once noted where it is gone, is written before the new one.

    Args:
        folder: the client folder.
        event: what kind of event it is.
        payload: what it holds: plain values, results, dates, numpy scalars; a number that is not
            finite becomes null.
        at: the present time, with its zone; by default the clock's.
        wait_s: how long to wait in seconds while another program writes.

    Raises:
        LedgerUnwritable: the folder, the disk or another program does not allow it.
        MinerError: the ledger cannot be read.
        ValueError: ``at`` has no zone, or the payload uses a name the line itself needs.
    """
    at = at or datetime.now(UTC)
    if at.utcoffset() is None:
        raise ValueError("no time zone")
    path = Path(folder) / NAME
    if not path.parent.is_dir():
        raise LedgerUnwritable("ledger.no_folder", file=path.parent)
    with _not_writable():
        for own in (NAME, LAST, LOCK_NAME):
            files.require_no_link(path.with_name(own))
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
    found = parse(lines)
    if found.newer:
        raise LedgerUnwritable("ledger.newer", file=path, row=found.newer, schema=SCHEMA)
    row = len(lines) + 1
    text = b"" if not data or data.endswith(b"\n") else b"\n"
    first, n, check = "", 0, ""
    if found.events:
        first, n, check = found.events[0].check, found.events[-1].n, found.events[-1].check
    elif noted(path.parent) is None:
        note(path.parent, None, "")
    told = _recovered(path, found)
    if told:
        line = write_line(n + 1, at, "recovered", told, check)
        text += line
        n, check, row = n + 1, _event(line, row).check, row + 1
        first = first or check
    line = write_line(n + 1, at, event, payload, check)
    with _not_writable():
        files.append(path, text + line)
    written = _event(line, row)
    note(path.parent, written, first)
    return written


def _recovered(path: Path, found: Parsed) -> dict[str, Any]:
    told: dict[str, Any] = {}
    if found.torn:
        told["torn"] = [quote(line) for line in found.torn]
    missing = gone(path.parent, found.events, found.torn)
    if missing is not None:
        told["missing"] = missing._asdict()
    if unnoted(path.parent, found.events) and not any("unnoted" in e.payload for e in found.events):
        told["unnoted"] = True
    return told


def _event(line: bytes, row: int) -> Event:
    return as_event(json.loads(line), row)


@contextlib.contextmanager
def _not_writable() -> Iterator[None]:
    """Report a file that is refused as a ledger that cannot be written."""
    try:
        yield
    except MinerError as error:
        values: dict[str, Any] = dict(error.values)
        raise LedgerUnwritable(error.code, file=error.file, **values) from error
