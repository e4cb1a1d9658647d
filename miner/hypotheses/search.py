"""Testing every rule of the search: p of each alone, of the best of all, and the intervals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from miner.hypotheses.candidates import Rule, candidates
from miner.hypotheses.design import Design, Target
from miner.hypotheses.families import FamilyOfRules, OutcomeSearch, Tested, families
from miner.hypotheses.whitened import Spectra, Whitened, whitened
from miner.results import Withheld
from miner.rulebook import Guardrails
from miner.stats import effects
from miner.stats.maxt import judge, r_from_z, shuffles

Floats = NDArray[np.float64]
Progress = Callable[[str, float], None]


@dataclass(frozen=True, slots=True)
class Search:
    """The whole search over one design."""

    design: Design
    outcomes: tuple[OutcomeSearch, ...]
    tests: tuple[Tested, ...]
    questions: int

    def outcome(self, name: str) -> OutcomeSearch:
        """Return the part of one outcome."""
        return next(part for part in self.outcomes if part.target.name == name)


def search(
    design: Design,
    primary: str,
    guard: Guardrails,
    *,
    draws: int,
    seed: int,
    progress: Progress | None = None,
    spectra: Spectra | None = None,
) -> Search:
    """Test every rule that has enough units, the primary outcome with a share of its own.

    Args:
        design: the client's units.
        primary: the outcome that has ``guard.primary_share`` of the claim level to itself.
        guard: the guardrails.
        draws: permutations.
        seed: of the permutations.
        progress: told the family and the share done.
        spectra: decompositions to share between calls on the same days.
    """
    cache: Spectra = {} if spectra is None else spectra
    parts = tuple(_prepare(design, target, guard, cache) for target in design.targets)
    orders = shuffles(len(design.times), draws, seed)
    tests = [untested(part, rule) for part in parts for rule in part.rules if rule.withheld]
    for family in families(parts, primary, guard):
        told = None if progress is None else _told(progress, family.name)
        tests += _judged(family, orders, guard.claim_level, told)
    questions = sum(len(part.tested()) for part in parts)
    return Search(design, parts, tuple(tests), questions)


def _told(progress: Progress, name: str) -> Callable[[float], None]:
    return lambda share: progress(name, share)


def _prepare(design: Design, target: Target, guard: Guardrails, cache: Spectra) -> OutcomeSearch:
    rules = candidates(design, target, guard)
    white = whitened(design, target.values, cache)
    if white is None:
        closed = [_close(rule, Withheld("too few days on which it is known")) for rule in rules]
        return OutcomeSearch(design.names, target, None, tuple(closed), np.empty((0, 0)))
    kept = white.kept(_stack(rules, len(design.times)))
    checked = []
    for rule, share in zip(rules, kept, strict=True):
        if rule.withheld is None and not share >= guard.least_variation_kept:
            if len(rule.items) > 1:
                continue
            reason = "cannot be told apart from the weekend, a drift or the sensor"
            have = None if np.isnan(share) else float(share)
            rule = _close(rule, Withheld(reason, have, guard.least_variation_kept))
        checked.append(rule)
    columns = white.columns(_stack(checked, len(design.times)))
    return OutcomeSearch(design.names, target, white, tuple(checked), columns)


def _stack(rules: list[Rule], units: int) -> Floats:
    return np.column_stack([rule.values for rule in rules]) if rules else np.empty((units, 0))


def _close(rule: Rule, withheld: Withheld) -> Rule:
    return Rule(rule.items, rule.values, rule.counts, rule.withheld or withheld)


def _judged(
    family: FamilyOfRules,
    orders: NDArray[np.intp],
    level: float,
    progress: Callable[[float], None] | None,
) -> list[Tested]:
    ready = [(part, part.white, own) for part, own in family.entries if part.white is not None]
    blocks = [white.block(part.columns[:, own]) for part, white, own in ready]
    share = family.half * family.kind
    found = judge(blocks, orders, chance=level * share, progress=progress)
    out: list[Tested] = []
    begin = 0
    for part, white, own in ready:
        end = begin + len(own)
        critical = critical_t(found.critical, white.df)
        adjusted = np.minimum(1.0, found.step_down[begin:end] / share)
        out += measure(part, white, own, adjusted, critical)
        begin = end
    return out


def critical_t(z: float, df: int) -> float:
    """Return the |t| on df degrees of freedom with the tail of |z|."""
    if np.isinf(z):
        return float("inf")
    r = float(r_from_z(np.array([z]), df)[0])
    return float(r * np.sqrt(df / max(1 - r * r, 1e-12)))


def measure(
    part: OutcomeSearch, white: Whitened, chosen: list[int], adjusted: Floats, critical: float
) -> list[Tested]:
    """Return the chosen rules with their sizes, standard errors and p values."""
    columns = part.columns[:, chosen]
    scores = effects.single(columns, white.scores, white.rank)
    raw = effects.single(columns, white.raw, white.rank)
    p = scores.p
    return [
        Tested(
            part.target,
            part.rules[rule],
            float(raw.difference[at]),
            float(raw.standard_error[at]),
            float(scores.t[at]),
            white.df,
            float(p[at]),
            float(adjusted[at]),
            critical,
            columns[:, at],
        )
        for at, rule in enumerate(chosen)
    ]


def untested(part: OutcomeSearch, rule: Rule) -> Tested:
    """Return a rule that is not tested, its numbers unknown."""
    nothing = float("nan")
    return Tested(
        part.target, rule, nothing, nothing, nothing, 0, nothing, nothing, nothing, np.empty(0)
    )
