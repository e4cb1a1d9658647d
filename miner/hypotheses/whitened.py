"""One outcome made independent: dependence fitted, whitened, nuisance taken out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from miner.hypotheses.design import Design
from miner.stats import dependence as dep
from miner.stats.effects import independent, orthonormal, residual, share_kept
from miner.stats.maxt import Block
from miner.stats.scores import normal_scores

Floats = NDArray[np.float64]
Spectra = dict[bytes, dep.Spectrum]


@dataclass(frozen=True, slots=True)
class AllowedFor:
    """Nuisance on an outcome's known units, as it was and whitened: shape (k, p) each.

    Attributes:
        sources: the column of the table that each is made of, "" where none.
    """

    sources: tuple[str, ...]
    columns: Floats
    whitened: Floats

    def without(self, made_from: frozenset[str]) -> AllowedFor:
        """Return what is left where some columns of the table are not allowed for."""
        kept = [at for at, source in enumerate(self.sources) if source not in made_from]
        sources = tuple(self.sources[at] for at in kept)
        return AllowedFor(sources, self.columns[:, kept], self.whitened[:, kept])

    def basis(self) -> Floats:
        """Return an orthonormal basis of all of it, whitened; what adds nothing is left out."""
        return orthonormal(self.whitened[:, independent(self.columns)])


@dataclass(frozen=True, slots=True)
class Whitened:
    """An outcome on its known units.

    Attributes:
        known: shape (k,), which of the usable units.
        times: shape (k,), days.
        dependence: of the normal scores, after nuisance.
        outcomes: shape (k, 2), whitened, nuisance still in them: normal scores, the own unit.
        allowed_for: the nuisance.
        nuisance: shape (k, p), orthonormal basis of it, whitened.
        intercept: shape (k, 1), orthonormal, whitened.
        scores: shape (k,), normal scores, whitened, nuisance taken out.
        raw: shape (k,), the outcome's own unit, likewise.
        wobble: SD of a unit after nuisance, the outcome's own unit.
    """

    known: NDArray[np.intp]
    times: Floats
    dependence: dep.Dependence
    outcomes: Floats
    allowed_for: AllowedFor
    nuisance: Floats
    intercept: Floats
    scores: Floats
    raw: Floats
    wobble: float

    @property
    def rank(self) -> int:
        """Directions taken by the nuisance."""
        return int(self.nuisance.shape[1])

    @property
    def df(self) -> int:
        """Degrees of freedom left for one rule."""
        return len(self.known) - self.rank - 1

    def without(self, made_from: frozenset[str]) -> Whitened:
        """Return the same beside less nuisance: without what a rule is made from.

        The dependence stays as it was fitted beside all of it: where the rule is nothing but luck
        what it is made from is nothing but scatter.
        """
        return self._beside(self.allowed_for.without(made_from)) if made_from else self

    def beside(self, columns: Floats) -> Whitened:
        """Return the same beside more nuisance: columns (units, q), known on every unit."""
        own = columns[self.known]
        white = dep.whiten(self.times, self.dependence, own)
        allowed_for = self.allowed_for
        return self._beside(
            AllowedFor(
                (*allowed_for.sources, *("" for _ in own.T)),
                np.column_stack([allowed_for.columns, own]),
                np.column_stack([allowed_for.whitened, white]),
            )
        )

    def _beside(self, allowed_for: AllowedFor) -> Whitened:
        return _taken_out(self.known, self.times, self.dependence, self.outcomes, allowed_for)

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
        return share_kept(self.nuisance, self.intercept, whitened)

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
    allowed_for = AllowedFor(design.nuisance_sources, nuisance, white[:, 2:])
    return _taken_out(np.flatnonzero(mask), times, found, white[:, :2], allowed_for)


def _taken_out(
    known: NDArray[np.intp],
    times: Floats,
    dependence: dep.Dependence,
    outcomes: Floats,
    allowed_for: AllowedFor,
) -> Whitened:
    basis = allowed_for.basis()
    left = residual(basis, outcomes)
    return Whitened(
        known=known,
        times=times,
        dependence=dependence,
        outcomes=outcomes,
        allowed_for=allowed_for,
        nuisance=basis,
        intercept=orthonormal(allowed_for.whitened[:, :1]),
        scores=left[:, 0],
        raw=left[:, 1],
        wobble=float(np.sqrt(left[:, 1] @ left[:, 1] / (len(left) - basis.shape[1]))),
    )
