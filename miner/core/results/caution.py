"""What has to be said beside any pattern."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from miner.core.messages import Message


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
    """One caution, glucose in the display unit; in JSON its text alone.

    Attributes:
        said: what has to be said.
        rests_on: what it rests on in a few words, where it is told at length elsewhere.
        action: what the client is told of it, where it asks for a clinician.
    """

    kind: CautionKind
    said: Message | str
    rests_on: Message | str = ""
    action: str = ""

    @property
    def text(self) -> str:
        """What has to be said, in words."""
        return str(self.said)

    @property
    def short(self) -> str:
        """What it rests on, in words."""
        return str(self.rests_on)
