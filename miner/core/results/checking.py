"""What was found in one client's records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from miner.core.results.base import Result
from miner.core.results.caution import CautionText


class Severity(StrEnum):
    """How much a finding in the records matters."""

    STOP = "stop"
    LEFT_OUT = "left_out"
    NOTE = "note"
    QUESTION = "question"


@dataclass(frozen=True, slots=True, repr=False)
class Finding(Result):
    """One thing noticed while reading: where, what stood there, what was expected, what to do.

    Attributes:
        short: ``what`` without examples; empty where there are none.
        code: the kind of finding, for texts and programs; empty where nothing asks for it.
        stream, column: what it is about, where that is one stream, or one column of it.
        days: the dates it is about, ISO, in order.
        gain_days: on how many days something would be known or sure once it is done; None where
            that cannot be counted.
        values: the numbers and words of it by name.
    """

    severity: Severity
    file: str | None
    row: int | None
    what: str
    expected: str
    do: str
    count: int = 1
    short: str = ""
    code: str = ""
    stream: str = ""
    column: str = ""
    days: tuple[str, ...] = ()
    gain_days: int | None = None
    values: Mapping[str, float | str] = field(default_factory=dict)


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
    """What ``check`` tells: streams, usable days, why others are not, and the findings.

    Attributes:
        covered: of each day that cannot be used, the share of it that readings cover.
    """

    client: str
    streams: Mapping[str, StreamSummary]
    first_day: str | None
    last_day: str | None
    days: int
    usable_days: int
    not_usable: Mapping[str, str]
    known_factors: Mapping[str, int]
    findings: tuple[Finding, ...]
    cautions: tuple[CautionText, ...]
    intake_not_asked: tuple[str, ...]
    records_hash: str
    covered: Mapping[str, float] = field(default_factory=dict)
