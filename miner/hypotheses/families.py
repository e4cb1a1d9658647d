"""Outcomes with their rules, and how the claim level is divided among them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf

import numpy as np
from numpy.typing import NDArray

from miner.hypotheses.candidates import Rule
from miner.hypotheses.design import Target
from miner.hypotheses.whitened import Whitened
from miner.rulebook import Guardrails

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Tested:
    """One rule with its numbers; those of a rule that is not tested are NaN.

    Attributes:
        column: shape (k,), the rule whitened with the nuisance taken out; empty if not tested.
        critical: the |t| that its simultaneous interval spans.
    """

    target: Target
    rule: Rule
    difference: float
    standard_error: float
    score_t: float
    df: int
    p: float
    p_adjusted: float
    critical: float
    column: Floats

    @property
    def interval(self) -> tuple[float, float]:
        """The simultaneous interval of the family, the outcome's own unit."""
        reach = self.critical * self.standard_error
        return self.difference - reach, self.difference + reach

    @property
    def margin(self) -> float:
        """How far the interval's nearer bound lies beyond 0, in standard errors; inf if none."""
        if not self.standard_error > 0:
            return inf
        return abs(self.difference) / self.standard_error - self.critical


@dataclass(frozen=True, slots=True)
class OutcomeSearch:
    """One outcome: the units' names, its rules, its whitening, the rules whitened likewise."""

    names: tuple[str, ...]
    target: Target
    white: Whitened | None
    rules: tuple[Rule, ...]
    columns: Floats

    def tested(self, *, sets: bool | None = None) -> list[int]:
        """Return which rules are tested: all, only sets, or only single factors."""
        return [
            at
            for at, rule in enumerate(self.rules)
            if rule.withheld is None and sets in (None, len(rule.items) > 1)
        ]


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
