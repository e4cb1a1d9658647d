"""What can be wrong with the lines of a ledger, one finding a line."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any

from miner.core.messages import Message, message
from miner.core.results import Finding, Severity
from miner.ledger.line import NAME, Event, untouched

BACK = timedelta(days=1)
# An entry is dated when its program begins to write; of two at once the later may be written first.
AT_ONCE = timedelta(minutes=1)
_START = b'{"schema": '


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
    """Tell of lines that cannot be read and that this next line does not account for."""
    if torn and not _recovers(record, torn):
        yield problem("unreadable_line", row - len(torn), count=len(torn))


def broken(record: dict[str, Any], line: bytes, last: Event | None, row: int) -> Iterator[Finding]:
    """Tell of a line that was changed, or that does not follow the one before it."""
    if not untouched(record, line):
        yield problem("changed_line", row)
    expected = last.n + 1 if last else 1
    if record["n"] != expected or record["previous"] != (last.check if last else ""):
        yield problem("gap", row, gap=_gap(record["n"], expected), next=expected)


def harmless(
    record: dict[str, Any], torn: Sequence[bytes], last: Event | None, row: int
) -> Iterator[Finding]:
    """Tell of what breaks no chain: torn and lost lines accounted for, a clock set back."""
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
