"""Testing every rule of the search: p of each alone, of the best of all, and the intervals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from miner.hypotheses.candidates import Rule, candidates
from miner.hypotheses.design import Design, Target
from miner.hypotheses.whitened import Spectra, Whitened, whitened
from miner.results import Withheld
from miner.rulebook import Guardrails
from miner.stats import effects
from miner.stats.maxt import judge, r_from_z, shuffles

Floats = NDArray[np.float64]
Progress = Callable[[str, float], None]


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
        """How far the interval's nearer bound lies beyond 0, in standard errors."""
        return abs(self.difference) / self.standard_error - self.critical


@dataclass(frozen=True, slots=True)
class OutcomeSearch:
    """One outcome: the units' names, its rules, its whitening, the rules whitened likewise."""

    names: tuple[str, ...]
    target: Target
    white: Whitened | None
    rules: tuple[Rule, ...]
    columns: Floats

    def tested(self) -> list[int]:
        """Return which rules are tested."""
        return [at for at, rule in enumerate(self.rules) if rule.withheld is None]


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
    main = [part for part in parts if part.target.name == primary]
    rest = [part for part in parts if part.target.name != primary]
    share = {"primary": guard.primary_share, "search": 1 - guard.primary_share}
    if not any(part.tested() for part in main) or not any(part.tested() for part in rest):
        share = {"primary": 1.0, "search": 1.0}
    tests: list[Tested] = []
    for name, family in (("primary", main), ("search", rest)):
        told = None if progress is None else _told(progress, name)
        tests += _family(family, orders, guard, share[name], told)
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
    values = (
        np.column_stack([rule.values for rule in rules])
        if rules
        else np.empty((len(design.times), 0))
    )
    kept = white.kept(values)
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
    return Rule(rule.items, rule.values, rule.counts, rule.withheld or withheld, rule.same_units)


def _family(
    parts: list[OutcomeSearch],
    orders: NDArray[np.intp],
    guard: Guardrails,
    share: float,
    progress: Callable[[float], None] | None,
) -> list[Tested]:
    out = [untested(part, rule) for part in parts for rule in part.rules if rule.withheld]
    ready = [(part, part.white, part.tested()) for part in parts if part.white is not None]
    ready = [entry for entry in ready if entry[2]]
    if not ready:
        return out
    blocks = [white.block(part.columns[:, chosen]) for part, white, chosen in ready]
    family = judge(blocks, orders, chance=guard.claim_level, progress=progress)
    begin = 0
    for part, white, chosen in ready:
        end = begin + len(chosen)
        critical = critical_t(family.critical, white.df)
        adjusted = np.minimum(1.0, family.step_down[begin:end] / share)
        out += measure(part, white, chosen, adjusted, critical)
        begin = end
    return out


def critical_t(z: float, df: int) -> float:
    """Return the |t| on df degrees of freedom with the tail of |z|."""
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
