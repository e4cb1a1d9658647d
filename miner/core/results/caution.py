"""What has to be said beside any pattern."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class CautionKind(StrEnum):
    """What a caution is about, which decides where it is printed."""

    INTAKE = "intake"
    REFERRAL = "referral"
    MEDICINE = "medicine"
    ILLNESS = "illness"
    NOT_ASKED = "not_asked"
    ALWAYS = "always"
    PATTERNS = "patterns"


@dataclass(frozen=True, slots=True)
class CautionText:
    """One caution in words, glucose in the display unit; in JSON its text alone.

    Attributes:
        short: what it rests on in a few words, where it is told at length elsewhere.
    """

    kind: CautionKind
    text: str
    short: str = ""
