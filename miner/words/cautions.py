"""Which cautions come before any pattern, and which stand at the end."""

from __future__ import annotations

from dataclasses import dataclass

from miner.core.results import CautionKind, CautionText
from miner.words.document import Parts, heading, paragraph, urgent

FIRST = (CautionKind.INTAKE, CautionKind.REFERRAL, CautionKind.MEDICINE)
BESIDE = (CautionKind.ILLNESS, CautionKind.NOT_ASKED)
LAST = (CautionKind.ALWAYS, CautionKind.PATTERNS)


@dataclass(frozen=True, slots=True)
class CautionBlocks:
    """The cautions of a result, by where they are printed."""

    said: tuple[CautionText, ...]

    def first(self) -> Parts:
        """Return the block that comes before any pattern, or nothing."""
        lines = [urgent(text, 2) for text in self.texts(FIRST)]
        return [heading("Before anything else"), *lines, paragraph("")] if lines else []

    def beside(self) -> Parts:
        """Return what stands below the first lines: days of illness, questions not asked."""
        return [paragraph(text) for text in self.texts(BESIDE)]

    def last(self, *, patterns: bool = True) -> Parts:
        """Return what is always said in one paragraph, with or without what is about patterns."""
        texts = self.texts(LAST if patterns else LAST[:1])
        return [paragraph(""), paragraph(" ".join(texts))] if texts else []

    def texts(self, kinds: tuple[CautionKind, ...]) -> list[str]:
        """Return what is said of some kinds, in their order."""
        return [item.text for kind in kinds for item in self.said if item.kind is kind]
