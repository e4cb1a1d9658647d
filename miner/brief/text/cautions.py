"""Which cautions come before any pattern, and which stand at the end."""

from __future__ import annotations

from dataclasses import dataclass

from miner.brief.text.layout import Parts, heading, paragraph
from miner.rulebook import RuleBook


@dataclass(frozen=True, slots=True)
class Sorted:
    """Cautions by where they are printed: reasons to refer, questions not asked, standing ones."""

    urgent: tuple[str, ...]
    not_asked: tuple[str, ...]
    standing: tuple[str, ...]

    def first(self) -> Parts:
        """Return the block that comes before any pattern, or nothing."""
        if not self.urgent:
            return []
        lines = [paragraph(f"! {text}", 2) for text in self.urgent]
        return [heading("Before anything else"), *lines, paragraph("")]

    def last(self) -> Parts:
        """Return what is always said, in one paragraph."""
        if not self.standing:
            return []
        return [paragraph(""), paragraph(" ".join(self.standing))]


def sort_cautions(cautions: tuple[str, ...], rules: RuleBook) -> Sorted:
    """Sort the cautions of a result; what the rule book does not print always is urgent."""
    standing = {*rules.cautions.always, *rules.cautions.client_always}
    asks = rules.cautions.not_asked.partition("{")[0]
    return Sorted(
        urgent=tuple(c for c in cautions if c not in standing and not _asks(c, asks)),
        not_asked=tuple(c for c in cautions if _asks(c, asks)),
        standing=tuple(c for c in cautions if c in standing),
    )


def _asks(caution: str, start: str) -> bool:
    return bool(start) and caution.startswith(start)
