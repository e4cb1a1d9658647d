"""One outcome made independent: dependence fitted, whitened, nuisance taken out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from miner.hypotheses.design import Design, full_rank
from miner.stats import dependence as dep
from miner.stats.maxt import Block
from miner.stats.projection import orthonormal, residual, share_kept
from miner.stats.scores import normal_scores

Floats = NDArray[np.float64]
Spectra = dict[bytes, dep.Spectrum]


@dataclass(frozen=True, slots=True)
class Whitened:
    """An outcome on its known units.

    Attributes:
        known: shape (k,), which of the usable units.
        times: shape (k,), days.
        dependence: of the normal scores, after nuisance.
        nuisance: shape (k, p), orthonormal basis, whitened.
        intercept: shape (k, 1), orthonormal, whitened.
        scores: shape (k,), normal scores, whitened, nuisance taken out.
        raw: shape (k,), the outcome's own unit, likewise.
        wobble: SD of a unit after nuisance, the outcome's own unit.
    """

    known: NDArray[np.intp]
    times: Floats
    dependence: dep.Dependence
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

    def whitened_columns(self, values: Floats) -> Floats:
        """Return yes/no/unknown columns (units, m) centred, unknown as 0, whitened: (k, m)."""
        part = values[self.known]
        unknown = np.isnan(part)
        counts = np.maximum((~unknown).sum(axis=0), 1)
        means = np.where(unknown, 0.0, part).sum(axis=0) / counts
        centred = np.where(unknown, 0.0, part - means)
        return dep.whiten(self.times, self.dependence, centred)

    def columns(self, values: Floats) -> Floats:
        """Return the same with the nuisance taken out, shape (k, m)."""
        return residual(self.nuisance, self.whitened_columns(values))

    def kept(self, values: Floats) -> Floats:
        """Return the share of each column's variation left after the nuisance, shape (m,)."""
        return share_kept(self.nuisance, self.intercept, self.whitened_columns(values))

    def outcome(self, values: Floats) -> Floats:
        """Return another outcome on the same units, whitened, nuisance taken out, shape (k,)."""
        white = dep.whiten(self.times, self.dependence, values[self.known][:, None])
        return residual(self.nuisance, white)[:, 0]

    def unit_columns(self) -> Floats:
        """Return one whitened column a unit that takes that unit out, shape (k, k)."""
        white = dep.whiten(self.times, self.dependence, np.eye(len(self.known)))
        return residual(self.nuisance, white)

    def block(self, rules: Floats) -> Block:
        """Return the outcome and its rules, shape (k, m), for the permutation."""
        return Block(rules, self.scores, self.nuisance, self.known)


def whitened(design: Design, values: Floats, spectra: Spectra) -> Whitened | None:
    """Fit the dependence of one outcome and whiten it; None when too few units are known.

    Args:
        design: the client's units.
        values: shape (n,), NaN unknown.
        spectra: decompositions made so far, by the units known; added to.
    """
    mask = ~np.isnan(values)
    times = design.times[mask]
    nuisance = full_rank(design.nuisance, mask)
    if len(times) < nuisance.shape[1] + 3 or np.ptp(values[mask]) == 0:
        return None
    key = mask.tobytes() + times.tobytes()
    if key not in spectra:
        spectra[key] = dep.spectrum(times)
    raw = values[mask]
    scores = normal_scores(raw)
    found = dep.fit(spectra[key], scores[:, None], nuisance)[0]
    white = dep.whiten(times, found, np.column_stack([scores, raw, nuisance]))
    basis = orthonormal(white[:, 2:])
    left = residual(basis, white[:, :2])
    wobble = float(np.sqrt(left[:, 1] @ left[:, 1] / (len(raw) - basis.shape[1])))
    intercept = orthonormal(white[:, 2:3])
    return Whitened(
        np.flatnonzero(mask), times, found, basis, intercept, left[:, 0], left[:, 1], wobble
    )
