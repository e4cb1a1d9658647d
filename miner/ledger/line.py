"""One line of the ledger: an event, the check of its own text and that of the line before.

A line is a JSON object: ``schema``, ``n``, ``at``, ``event``, what the event holds, ``previous``
(the check of the line before, empty in the first) and ``check`` (SHA-256 of the same object
without it, keys sorted, no spaces, UTF-8). The checks are not secret: they tell accidents and
edits by hand, not someone who computes the file again.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from miner.core.facts import Result

NAME = "ledger.jsonl"
SCHEMA = 1
_TYPES = {"schema": int, "n": int, "at": str, "event": str, "previous": str, "check": str}


@dataclass(frozen=True, slots=True)
class Event(Result):
    """One line as read.

    Attributes:
        n: its number, from 1; the order of the ledger, whatever the clock said.
        at: when it was written, ISO 8601 with offset.
        event: what kind of event it is.
        payload: what it holds, plain JSON values.
        row: the line of the file, from 1.
        check: the check of its text.
        previous: the check of the line before, as this line states it.
        trusted: False from the first edited, lost or reordered line on.
        latest: the latest time of the entries above it, ISO 8601, where that is later than its own:
            the clock had been set back.
    """

    n: int
    at: str
    event: str
    payload: Mapping[str, Any]
    row: int
    check: str
    previous: str
    trusted: bool = True
    latest: str = field(default="", compare=False)

    @property
    def written_by(self) -> str:
        """The earliest time at which it can have been written: a clock set back proves nothing."""
        return self.latest or self.at

    def listed(self, name: str) -> list[Any]:
        """Return a list it holds, empty where it holds none of that name."""
        found = self.payload.get(name)
        return found if isinstance(found, list) else []


def write_line(n: int, at: str, event: str, payload: Mapping[str, Any], previous: str) -> bytes:
    """Return the bytes of a line, its line feed included.

    Raises:
        ValueError: the payload uses a name that the line itself needs.
    """
    taken = sorted(_TYPES.keys() & payload.keys())
    if taken:
        raise ValueError(f"names taken: {taken}")
    head = {"schema": SCHEMA, "n": n, "at": at, "event": event}
    record = {**head, **payload, "previous": previous}
    return _text({**record, "check": checksum(record)}) + b"\n"


def begins(n: int) -> bytes:
    """Return how the line of that number begins."""
    return _text({"schema": SCHEMA, "n": n})[:-1] + b","


def read_line(line: bytes) -> dict[str, Any] | None:
    """Return the object a line holds, or None where it is no line of a ledger.

    A line of a newer schema is returned as it is, its other names unchecked.
    """
    try:
        record = json.loads(line.decode("utf-8"))
        _text(record)
    except (ValueError, RecursionError):
        return None
    if not isinstance(record, dict) or type(record.get("schema")) is not int:
        return None
    if record["schema"] > SCHEMA:
        return record
    whole = all(type(record.get(name)) is kind for name, kind in _TYPES.items())
    return record if whole else None


def as_event(record: Mapping[str, Any], row: int, *, trusted: bool = True) -> Event:
    """Return the event that an object of the present schema holds."""
    return Event(
        n=record["n"],
        at=record["at"],
        event=record["event"],
        payload={name: value for name, value in record.items() if name not in _TYPES},
        row=row,
        check=record["check"],
        previous=record["previous"],
        trusted=trusted,
    )


def untouched(record: Mapping[str, Any], line: bytes) -> bool:
    """Return whether a line is, byte for byte, what was written."""
    rest = {name: value for name, value in record.items() if name != "check"}
    return record["check"] == checksum(rest) and _text(record) == line


def checksum(record: Mapping[str, Any]) -> str:
    """Return the SHA-256 of an object, keys sorted and no spaces, as 64 hexadecimal digits."""
    text = json.dumps(
        record, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )
    return hashlib.sha256(_bytes(text)).hexdigest()


def _text(record: Any) -> bytes:
    return _bytes(json.dumps(record, ensure_ascii=False, allow_nan=False))


def _bytes(text: str) -> bytes:
    # A lone surrogate (a file name in no encoding) has no UTF-8; its escape is valid JSON.
    return text.encode("utf-8", "backslashreplace")
