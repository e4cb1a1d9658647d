"""One outcome whitened, with its rules made ready, and a rule with its numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import inf, isnan, nan
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from miner.core.messages import message
from miner.core.results import Withheld
from miner.stats import dependence as dep
from miner.stats import effects
from miner.stats.effects import independent, orthonormal, residual, share_kept
from miner.stats.maxt import Block
from miner.stats.scores import normal_scores

if TYPE_CHECKING:
    from miner.hypotheses.candidates import Rule
    from miner.hypotheses.design import Design, Item, Target

Floats = NDArray[np.float64]

Spectra = dict[bytes, dep.Spectrum]


@dataclass(frozen=True)
class Whitened:
    """An outcome on its known units.

    Attributes:
        known: shape (k,), which of the usable units.
        times: shape (k,), days.
        dependence: of the normal scores, after nuisance.
        outcomes: shape (k, 2), whitened, nuisance still in them: normal scores, the own unit.
        sources: the column of the table that each nuisance column is made of, "" where none.
        columns: shape (k, p), the nuisance as it was, ``whitened`` likewise whitened.
    """

    known: NDArray[np.intp]
    times: Floats
    dependence: dep.Dependence
    outcomes: Floats
    sources: tuple[str, ...]
    columns: Floats
    whitened: Floats

    @cached_property
    def nuisance(self) -> Floats:
        """Orthonormal basis of it, whitened, shape (k, r); what adds nothing is left out."""
        return orthonormal(self.whitened[:, independent(self.columns)])

    @cached_property
    def _left(self) -> Floats:
        return residual(self.nuisance, self.outcomes)

    @property
    def scores(self) -> Floats:
        """Normal scores, whitened, nuisance taken out, shape (k,)."""
        return self._left[:, 0]

    @property
    def raw(self) -> Floats:
        """The outcome's own unit, likewise."""
        return self._left[:, 1]

    @property
    def unit_sd(self) -> float:
        """SD of a unit after nuisance, the outcome's own unit."""
        return float(np.sqrt(self.raw @ self.raw / (len(self.raw) - self.rank)))

    @property
    def rank(self) -> int:
        """Directions taken by the nuisance."""
        return int(self.nuisance.shape[1])

    @property
    def df(self) -> int:
        """Degrees of freedom left for one rule."""
        return len(self.known) - self.rank - 1

    def without(self, made_from: frozenset[str]) -> Whitened:
        """Return the same without the nuisance that a rule is made from.

        The dependence between days is not fitted again. If the rule is pure luck, what it is made
        from is scatter too.
        """
        if not made_from:
            return self
        kept = [at for at, source in enumerate(self.sources) if source not in made_from]
        sources = tuple(self.sources[at] for at in kept)
        return replace(
            self, sources=sources, columns=self.columns[:, kept], whitened=self.whitened[:, kept]
        )

    def beside(self, columns: Floats) -> Whitened:
        """Return the same with more nuisance: columns (units, q), known on every unit."""
        own = columns[self.known]
        white = dep.whiten(self.times, self.dependence, own)
        return replace(
            self,
            sources=(*self.sources, *("" for _ in own.T)),
            columns=np.column_stack([self.columns, own]),
            whitened=np.column_stack([self.whitened, white]),
        )

    def whitened_columns(self, values: Floats) -> Floats:
        """Return yes/no/unknown columns (units, m) centred, unknown as 0, whitened: (k, m)."""
        part = values[self.known]
        unknown = np.isnan(part)
        counts = np.maximum((~unknown).sum(axis=0), 1)
        means = np.where(unknown, 0.0, part).sum(axis=0) / counts
        centred = np.where(unknown, 0.0, part - means)
        return dep.whiten(self.times, self.dependence, centred)

    def cleared(self, whitened: Floats) -> Floats:
        """Return whitened columns with the nuisance taken out, shape (k, m)."""
        return residual(self.nuisance, whitened)

    def kept(self, whitened: Floats) -> Floats:
        """Return the share of each whitened column's variation left after the nuisance: (m,)."""
        return share_kept(self.nuisance, orthonormal(self.whitened[:, :1]), whitened)

    def outcome(self, values: Floats) -> Floats:
        """Return another outcome on the same units, whitened, nuisance taken out, shape (k,)."""
        white = dep.whiten(self.times, self.dependence, values[self.known][:, None])
        return residual(self.nuisance, white)[:, 0]

    def unit_columns(self) -> Floats:
        """Return one whitened column a unit that takes that unit out, shape (k, k)."""
        white = dep.whiten(self.times, self.dependence, np.eye(len(self.known)))
        return residual(self.nuisance, white)

    def block(self, rules: Floats, penalty: float = 0.0) -> Block:
        """Return the outcome and its rules, shape (k, m), for the permutation."""
        return Block(rules, self.scores, self.nuisance, self.known, penalty)


def whitened(design: Design, values: Floats, spectra: Spectra) -> Whitened | None:
    """Fit the dependence of one outcome and whiten it; None when too few units are known.

    Args:
        design: the client's units.
        values: shape (n,), NaN unknown.
        spectra: decompositions made so far, by the units known; added to.
    """
    mask = ~np.isnan(values)
    times = design.times[mask]
    nuisance = design.nuisance[mask]
    own = independent(nuisance)
    if len(times) < len(own) + 3 or np.ptp(values[mask]) == 0:
        return None
    key = mask.tobytes() + times.tobytes()
    if key not in spectra:
        spectra[key] = dep.spectrum(times)
    raw = values[mask]
    scores = normal_scores(raw)
    found = dep.fit(spectra[key], scores[:, None], nuisance[:, own])[0]
    white = dep.whiten(times, found, np.column_stack([scores, raw, nuisance]))
    sources = design.nuisance_sources
    return Whitened(
        np.flatnonzero(mask), times, found, white[:, :2], sources, nuisance, white[:, 2:]
    )


@dataclass(frozen=True, slots=True)
class Tested:
    """One rule with its numbers; those of a rule that is not tested are NaN.

    Attributes:
        white: its outcome with the same nuisance as the rule; None if not tested.
        column: shape (k,), the rule whitened with the nuisance taken out; empty if not tested.
        amounts: shape (k,), of a dose its amounts likewise, of which the difference is a slope;
            of a cut the column itself.
        critical: the |t| that its simultaneous interval spans.
    """

    part: OutcomeSearch
    rule: Rule
    white: Whitened | None = None
    column: Floats = field(default_factory=lambda: np.empty(0))
    amounts: Floats = field(default_factory=lambda: np.empty(0))
    difference: float = nan
    standard_error: float = nan
    score_t: float = nan
    p: float = nan
    p_adjusted: float = nan
    critical: float = nan

    @property
    def target(self) -> Target:
        """Its outcome."""
        return self.part.target

    @property
    def items(self) -> tuple[Item, ...]:
        """Its factors, each at its lag."""
        return tuple(self.target.items[at] for at in self.rule.items)

    @property
    def factors(self) -> tuple[str, ...]:
        """Their names."""
        return tuple(item.factor for item in self.items)

    @property
    def df(self) -> int:
        """Degrees of freedom of its t; 0 of a rule that is not tested."""
        return 0 if self.white is None else self.white.df

    @property
    def worth(self) -> float:
        """The least difference that is worth it, in the unit of its own."""
        return self.target.rule.smallest_worth_it / self.span

    @property
    def interval(self) -> tuple[float, float]:
        """The simultaneous interval of the family, the outcome's own unit."""
        reach = self.critical * self.standard_error
        return self.difference - reach, self.difference + reach

    @property
    def span(self) -> float:
        """By what its difference is multiplied to be that of the habit; 1 for a cut."""
        return self.rule.span

    @property
    def holds(self) -> bool:
        """Whether its raw size passes the bound of its step, in the direction of its scores."""
        return self.margin > 0 and self.difference * self.score_t > 0

    @property
    def margin(self) -> float:
        """How far the interval's nearer bound is beyond 0, in standard errors; inf if none."""
        if not self.standard_error > 0:
            return inf
        return abs(self.difference) / self.standard_error - self.critical


@dataclass(frozen=True)
class OutcomeSearch:
    """One outcome: its rules, its whitening.

    Attributes:
        white: with all nuisance; None where too little is known.
        columns: shape (k, m), the rules whitened, the nuisance still in them.
        amounts: shape (k, m), the same with the amounts of a dose in place of its scores.
        made_from: the nuisance that each rule is made from.
        beside: the outcome with the rest of the nuisance, by what a rule is made from.
    """

    design: Design
    target: Target
    white: Whitened | None
    rules: tuple[Rule, ...]
    columns: Floats
    amounts: Floats
    made_from: tuple[frozenset[str], ...]
    beside: Mapping[frozenset[str], Whitened]

    @cached_property
    def companions(self) -> tuple[tuple[int, ...], Floats]:
        """Every single factor that has enough units, as a cut and as a dose.

        Which of the outcome's items each is, and its values, shape (known units, k).
        """
        chosen = [self.rules[at] for at in self.tested(sets=False)]
        values = _stacked([rule.values for rule in chosen], self.design)
        return tuple(rule.items[0] for rule in chosen), values[self.target.known]

    def tested(self, *, sets: bool | None = None) -> list[int]:
        """Return which rules are tested: all, only sets, or only single factors."""
        return [
            at
            for at, rule in enumerate(self.rules)
            if rule.withheld is None and sets in (None, len(rule.items) > 1)
        ]

    def groups(self, chosen: Sequence[int]) -> list[tuple[Whitened, list[int]]]:
        """Return the chosen rules by the nuisance with which they are tested."""
        found = [
            (white, [at for at in chosen if self.made_from[at] == names])
            for names, white in self.beside.items()
        ]
        return [(white, own) for white, own in found if own]

    def only(self, chosen: Sequence[int]) -> OutcomeSearch:
        """Return the same with some of its rules."""
        return replace(
            self,
            rules=tuple(self.rules[at] for at in chosen),
            columns=self.columns[:, list(chosen)],
            amounts=self.amounts[:, list(chosen)],
            made_from=tuple(self.made_from[at] for at in chosen),
        )


def prepare(
    design: Design, target: Target, rules: Sequence[Rule], spectra: Spectra
) -> OutcomeSearch:
    """Whiten an outcome and its rules, and close the rules that nuisance does not leave enough of.

    Args:
        design: the client's units.
        target: the outcome.
        rules: what may be tested of it.
        spectra: decompositions made so far; added to.
    """
    white = whitened(design, target.values, spectra)
    sets = tuple(design.made_from(target.items[at] for at in rule.items) for rule in rules)
    if white is None:
        few = Withheld(message("hypotheses.too_few_known", unit="day"))
        closed = tuple(replace(rule, withheld=rule.withheld or few) for rule in rules)
        empty = np.empty((0, len(rules)))
        return OutcomeSearch(design, target, None, closed, empty, empty, sets, {})
    columns = white.whitened_columns(_stacked([rule.values for rule in rules], design))
    amounts = columns.copy()
    own = {at: rule.amounts for at, rule in enumerate(rules) if rule.amounts is not None}
    amounts[:, list(own)] = white.whitened_columns(_stacked(list(own.values()), design))
    beside = {names: white.without(names) for names in dict.fromkeys(sets)}
    checked, need = list(rules), design.guard.least_variation_kept
    for names, left in beside.items():
        chosen = [at for at, name in enumerate(sets) if name == names]
        for at, share in zip(chosen, left.kept(columns[:, chosen]).tolist(), strict=True):
            if not share >= need and rules[at].withheld is None:
                have = None if isnan(share) else share
                why = Withheld(message("hypotheses.as_the_nuisance"), have, need)
                checked[at] = replace(rules[at], withheld=why)
    return OutcomeSearch(design, target, white, tuple(checked), columns, amounts, sets, beside)


def _stacked(values: Sequence[Floats], design: Design) -> Floats:
    return np.column_stack(values) if values else np.empty((len(design.names), 0))


def measure(
    part: OutcomeSearch, white: Whitened, chosen: list[int], adjusted: Floats, critical: Floats
) -> list[Tested]:
    """Return the chosen rules, all with one nuisance, with sizes, standard errors and p."""
    columns = white.cleared(part.columns[:, chosen])
    scores = effects.single(columns, white.scores, white.rank)
    amounts = white.cleared(part.amounts[:, chosen])
    raw = effects.single(amounts, white.raw, white.rank)
    numbers = np.column_stack(
        [raw.difference, raw.standard_error, scores.t, scores.p, adjusted, critical]
    )
    return [
        Tested(part, part.rules[rule], white, columns[:, at], amounts[:, at], *own)
        for at, (rule, own) in enumerate(zip(chosen, numbers.tolist(), strict=True))
    ]
