"""What was found in one client's records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from miner.core.facts import CautionText, Result, plain
from miner.core.messages import Message, Severity, texts_of


@dataclass(frozen=True, slots=True, repr=False)
class Finding(Result):
    """One thing noticed while reading, as a code with its values; its words are found by the door.

    Attributes:
        code: the kind of finding; ``words/texts/findings.toml`` has its texts.
        examples: what was in some of the rows: each in quotation marks, a number, or a message.
        more: how many different examples there are beyond these.
        stream, column: what it is about, where that is one stream, or one column of it.
        days: the dates it is about, ISO, in order.
        gain_days: on how many days something would be known or sure once it is done; None where
            that cannot be counted.
        values: the numbers and words of it by name.
        told_as: the code of its texts where that is another than its own, or empty.
        instead: the code of a message that takes the place of its next step, or empty.
    """

    severity: Severity
    file: str | None
    row: int | None
    code: str = ""
    count: int = 1
    examples: tuple[str | Message, ...] = ()
    more: int = 0
    stream: str = ""
    column: str = ""
    days: tuple[str, ...] = ()
    gain_days: int | None = None
    values: Mapping[str, Any] = field(default_factory=dict)
    told_as: str = ""
    instead: str = ""

    def as_message(self) -> Message:
        """Return it as a message that others may hold: ``{of:what}``, ``{of:expected}``."""
        about = {name: getattr(self, name) for name in ("file", "stream", "column", "days")}
        about["n"] = self.count
        values = about | dict(self.values) | {"examples": self.examples, "more": self.more}
        kind = self.told_as or self.code
        if self.instead:
            values = values | {"instead": Message(self.instead, values)}
        return Message(f"findings.{kind}", values)

    def said(self) -> Mapping[str, str]:
        """Return its texts: what, short, expected, do."""
        told = self.as_message()
        return texts_of(told.code, told.values)

    @property
    def what(self) -> str:
        """What was there, with examples."""
        return self.said()["what"]

    @property
    def short(self) -> str:
        """What was there without examples; empty where there are none."""
        return self.said()["short"]

    @property
    def expected(self) -> str:
        """What would have been right."""
        return self.said()["expected"]

    @property
    def do(self) -> str:
        """The next step."""
        return self.said()["do"]

    def to_dict(self) -> dict[str, Any]:
        """Return its place, its texts and what they rest on, as plain values."""
        said = self.said()
        return {
            "severity": str(self.severity),
            "file": self.file,
            "row": self.row,
            "what": said["what"],
            "expected": said["expected"],
            "do": said["do"],
            "count": self.count,
            "short": said["short"],
            "code": self.code,
            "stream": self.stream,
            "column": self.column,
            "days": list(self.days),
            "gain_days": self.gain_days,
            "values": plain({k: v for k, v in self.values.items() if not _worded(v)}),
        }


def _worded(value: Any) -> bool:
    """Say whether a value has words of its own, which its finding says already."""
    first = value[0] if isinstance(value, list | tuple) and value else value
    return isinstance(first, Message)


@dataclass(frozen=True, slots=True, repr=False)
class StreamSummary(Result):
    """One stream as read: how much of it there is and where it begins and ends."""

    rows: int
    used: int
    files: tuple[str, ...]
    first: str | None
    last: str | None
    days: int
    cadence_min: float | None = None
    longest_gap_h: float | None = None


@dataclass(frozen=True, slots=True, repr=False)
class CheckReport(Result):
    """What ``check`` says: streams, usable days, why others are not, and the findings.

    Attributes:
        covered: of each day that cannot be used, the share of it that readings cover.

    Example:
        >>> report = miner.check(client)
        >>> report.first_day, report.last_day, report.known_factors["short_sleep"]
        ('2026-01-12', '2026-02-23', 41)
    """

    client: str
    streams: Mapping[str, StreamSummary]
    first_day: str | None
    last_day: str | None
    days: int
    usable_days: int
    not_usable: Mapping[str, Message]
    known_factors: Mapping[str, int]
    findings: tuple[Finding, ...]
    cautions: tuple[CautionText, ...]
    intake_not_asked: tuple[str, ...]
    records_hash: str
    covered: Mapping[str, float] = field(default_factory=dict)
