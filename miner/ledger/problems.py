"""What can be wrong with a ledger, told line by line."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any

from miner.core.errors import several
from miner.core.results import Finding, Severity
from miner.ledger.line import NAME, SCHEMA, Event, untouched

BACK = timedelta(days=1)
# An entry is dated when its program begins to write; of two at once the later may be written first.
AT_ONCE = timedelta(minutes=1)
NEWER = "this line and those after it were written by a newer miner"
_START = b'{"schema": '
_PUT_BACK = (
    "Put the ledger back from a copy of the folder. What was fixed, kept or looked at in the"
    " missing entries is not known."
)


def quote(line: bytes) -> dict[str, Any]:
    """Return what the ledger says of a torn line: its hash, its length, how it begins."""
    return {
        "sha256": hashlib.sha256(line).hexdigest(),
        "bytes": len(line),
        "begins": line[:200].decode("utf-8", "backslashreplace"),
    }


def _recovers(record: dict[str, Any], torn: list[bytes]) -> bool:
    return record["event"] == "recovered" and record.get("torn") == [quote(line) for line in torn]


def unreadable(record: dict[str, Any], torn: list[bytes], row: int) -> Iterator[Finding]:
    """Tell of lines that cannot be read and that this next line does not account for."""
    if torn and not _recovers(record, torn):
        yield _problem(
            Severity.QUESTION,
            row - len(torn),
            "the line cannot be read, and later lines were written after it",
            "a line as miner wrote it",
            "Was it edited? Put the line back from a copy of the folder. Nothing after it is taken"
            " as proven.",
            len(torn),
        )


def broken(record: dict[str, Any], line: bytes, last: Event | None, row: int) -> Iterator[Finding]:
    """Tell of a line that was changed, or that does not follow the one before it."""
    if not untouched(record, line):
        yield _problem(
            Severity.QUESTION,
            row,
            "the line was changed after it was written",
            "a line as miner wrote it",
            "Put the line back from a copy of the folder. It and what follows are read, and not"
            " taken as proven.",
        )
    expected = last.n + 1 if last else 1
    if record["n"] != expected or record["previous"] != (last.check if last else ""):
        yield _problem(
            Severity.QUESTION,
            row,
            _gap(record["n"], expected),
            f"entry {expected}, which follows the line before",
            "Put the ledger back from a copy of the folder. What follows is read, and not taken as"
            " proven.",
        )


def _gap(n: int, expected: int) -> str:
    if n == expected + 1:
        return f"entry {expected} is missing"
    if n > expected:
        return f"entries {expected} to {n - 1} are missing"
    if n < expected:
        return f"entry {n} stands where entry {expected} should stand"
    return f"entry {n} does not follow the line before it"


def harmless(
    record: dict[str, Any], torn: list[bytes], last: Event | None, row: int
) -> Iterator[Finding]:
    """Tell of what breaks no chain: torn and lost lines accounted for, a clock set back."""
    if torn and _recovers(record, torn):
        yield _accounted_for(torn, row)
    if record["event"] == "recovered" and isinstance(missing := record.get("missing"), dict):
        yield _problem(
            Severity.QUESTION,
            row,
            f"entries up to {missing.get('n')} had been written, and the last were gone by then",
            "every entry that was written",
            _PUT_BACK,
        )
    if record["event"] == "recovered" and record.get("unnoted") is True:
        yield _problem(
            Severity.QUESTION,
            row,
            "the note of the last entry was gone: entries above it may be missing",
            "every entry that was written",
            _PUT_BACK,
        )
    back = _earlier(record["at"], last.at) if last is not None else None
    if back is not None:
        yield _problem(
            Severity.QUESTION if back >= BACK else Severity.NOTE,
            row,
            f"entry {record['n']} is dated {record['at']}, before the entry above it",
            "dates in order",
            "Check the clock of the computer. The order of the entries counts, not the dates."
            + (" A question fixed in it is not taken as proven." if back >= BACK else ""),
        )


def _earlier(at: str, before: str) -> timedelta | None:
    try:
        back = datetime.fromisoformat(before) - datetime.fromisoformat(at)
    except (ValueError, TypeError):
        return None
    return back if back > AT_ONCE else None


def _accounted_for(torn: list[bytes], row: int) -> Finding:
    if any(not (line.startswith(_START) or _START.startswith(line)) for line in torn):
        return _problem(
            Severity.QUESTION,
            row - len(torn),
            "the line was not written by miner; it is kept, and not used",
            "lines as miner wrote them",
            "Was the file edited or damaged? Put it back from a copy of the folder.",
            len(torn),
        )
    lost = any(b'"fixed"' in line for line in torn)
    return _problem(
        Severity.QUESTION if lost else Severity.NOTE,
        row - len(torn),
        "a line was not finished when it was written; it is kept, and not used",
        "whole lines",
        "It tells of a question that was fixed: fix it again, it is not known."
        if lost
        else "Nothing needs doing.",
        len(torn),
    )


def of_another() -> Finding:
    """Tell of a ledger that is not the one that was written here."""
    return _problem(
        Severity.QUESTION,
        1,
        "this is not the ledger that was written in this folder: another was put in its place",
        "the ledger of this client, as it was written here",
        "Put the client's own ledger back. Until then nothing in this one is taken as proven.",
    )


def of_others(row: int, count: int, clients: Sequence[str]) -> Finding:
    """Tell of entries that were written for another client."""
    names = ", ".join(f"'{name[:40]}'" for name in clients[:3])
    return _problem(
        Severity.QUESTION,
        row,
        f"{several(count, 'entry', 'entries')} written for another client: {names}",
        "entries of this client",
        "Was the ledger copied? Put the client's own back. Was the client renamed? Write the former"
        " code into client.toml. They are shown, and not taken as proven.",
        count,
    )


def unnoted() -> Finding:
    """Tell of a ledger without the note of its last entry: entries may be gone from its end."""
    return _problem(
        Severity.QUESTION,
        None,
        "the note of its last entry, .ledger.last, is gone: entries may be missing from the end",
        "the file .ledger.last beside the ledger",
        "Put it back from a copy of the folder. What may have been looked at is not known.",
    )


def ends_early(rows: int, n: int) -> Finding:
    """Tell of entries that were written and are gone from the end, or with the whole ledger."""
    what = f"it ends before entry {n}, which was written" if rows else "it is gone or empty"
    return _problem(
        Severity.QUESTION,
        rows or None,
        what,
        f"{several(n, 'entry', 'entries')}, as written",
        _PUT_BACK,
    )


def torn_end(row: int, count: int, *, lost: bool) -> Finding:
    """Tell of a last line that was not finished, and whether entries before it are lost."""
    return _problem(
        Severity.QUESTION,
        row,
        "the last line is not finished: its writing was cut short, or it was changed",
        "a whole line",
        "It is kept, and not used."
        if lost
        else "Nothing before it is lost. Repeat the last step if its entry is missing: a question"
        " that was fixed in it is not known.",
        count,
    )


def newer(row: int) -> Finding:
    """Tell of the first line of a newer schema."""
    return _problem(
        Severity.QUESTION,
        row,
        NEWER,
        f"lines of schema {SCHEMA}",
        "Install the newer version. Until then nothing is added to this ledger.",
    )


def _problem(
    severity: Severity, row: int | None, what: str, expected: str, do: str, count: int = 1
) -> Finding:
    return Finding.worded(severity, NAME, row, what, expected, do, count)
