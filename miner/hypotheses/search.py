"""Testing every rule of the search: p of each alone, of the best of all, and the intervals."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from miner.core.results import Shape
from miner.hypotheses.candidates import candidates
from miner.hypotheses.tested import OutcomeSearch, Spectra, Tested, measure, prepare
from miner.stats.maxt import critical_t, judge, shuffles

if TYPE_CHECKING:
    from miner.hypotheses.design import Design, Run, Target
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
    out = []
    for name, half in (("primary", guard.primary_share), ("search", 1 - guard.primary_share)):
        chosen = [part for part in parts if (part.target.name == primary) == (name == "primary")]
        for sets, kind in ((False, 1 - guard.sets_share), (True, guard.sets_share)):
            entries = tuple((part, own) for part in chosen if (own := part.tested(sets=sets)))
            if entries:
                out.append(FamilyOfRules(name, sets, entries, half, kind))
    total = sum({family.name: family.half for family in out}.values())
    return [
        replace(
            family,
            half=family.half / total,
            kind=family.kind / sum(other.kind for other in out if other.name == family.name),
        )
        for family in out
    ]


@dataclass(frozen=True, slots=True)
class Search:
    """The whole search over one design."""

    design: Design
    outcomes: tuple[OutcomeSearch, ...]
    tests: tuple[Tested, ...]


def search(design: Design, primary: str, run: Run) -> Search:
    """Test every rule that has enough units, the primary outcome with a share of its own.

    Args:
        design: the client's units.
        primary: the outcome that has ``primary_share`` of the claim level to itself.
        run: its progress gets the family and the share done.
    """
    guard = design.guard
    parts = tuple(_prepare(design, target, run.spectra) for target in design.searched)
    orders = shuffles(len(design.times), run.draws or guard.draws, run.seed)
    tests = [Tested(part, rule) for part in parts for rule in part.rules if rule.withheld]
    for family in families(parts, primary, guard):
        tell = None if run.progress is None else partial(run.progress, family.name)
        tests += _judged(family, orders, guard, tell)
    return Search(design, parts, tuple(tests))


def _prepare(design: Design, target: Target, spectra: Spectra) -> OutcomeSearch:
    part = prepare(design, target, candidates(design, target), spectra)
    told = [
        at
        for at, rule in enumerate(part.rules)
        if rule.withheld is None or (len(rule.items) == 1 and rule.shape is Shape.CUT)
    ]
    return part.only(told)


def _judged(
    family: FamilyOfRules,
    orders: NDArray[np.intp],
    guard: Guardrails,
    progress: Callable[[float], None] | None,
) -> list[Tested]:
    ready = [
        (part, white, own, guard.dose_penalty if shape is Shape.DOSE else 0.0)
        for part, chosen in family.entries
        for white, beside in part.groups(chosen)
        for shape in Shape
        if (own := [at for at in beside if part.rules[at].shape is shape])
    ]
    blocks = [
        white.block(white.cleared(part.columns[:, own]), penalty)
        for part, white, own, penalty in ready
    ]
    share = family.half * family.kind
    found = judge(blocks, orders, chance=guard.claim_level * share, progress=progress)
    out: list[Tested] = []
    begin = 0
    for part, white, own, _ in ready:
        end = begin + len(own)
        critical = critical_t(found.critical[begin:end], white.df)
        adjusted = np.minimum(1.0, found.step_down[begin:end] / share)
        out += measure(part, white, own, adjusted, critical)
        begin = end
    return out
