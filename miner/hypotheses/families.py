"""Outcomes with their rules, and how the claim level is divided among them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from miner.hypotheses.tested import OutcomeSearch
from miner.rulebook import Guardrails


@dataclass(frozen=True, slots=True)
class FamilyOfRules:
    """Rules that share a part of the claim level.

    Attributes:
        name: "primary" or "search".
        sets: rules of two or three, or single factors.
        entries: outcomes, and which of their rules.
        half: share of the claim level of this name; ``kind``: share of that.
    """

    name: str
    sets: bool
    entries: tuple[tuple[OutcomeSearch, list[int]], ...]
    half: float
    kind: float


def families(
    parts: Sequence[OutcomeSearch], primary: str, guard: Guardrails
) -> list[FamilyOfRules]:
    """Divide the claim level: primary outcome and the others, single factors and sets.

    What has no rule to test leaves its share to what has.
    """
    halves = [
        ("primary", [part for part in parts if part.target.name == primary], guard.primary_share),
        (
            "search",
            [part for part in parts if part.target.name != primary],
            1 - guard.primary_share,
        ),
    ]
    kinds = ((False, 1 - guard.sets_share), (True, guard.sets_share))
    out = []
    for name, chosen, weight in halves:
        for sets, share in kinds:
            entries = [(part, own) for part in chosen if (own := part.tested(sets=sets))]
            if entries:
                out.append(FamilyOfRules(name, sets, tuple(entries), weight, share))
    total = sum({family.name: family.half for family in out}.values())
    return [
        replace(
            family,
            half=family.half / total,
            kind=family.kind / sum(other.kind for other in out if other.name == family.name),
        )
        for family in out
    ]
