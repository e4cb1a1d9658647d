"""The chance that the best of many rules looks this good when nothing is true.

Freedman-Lane permutation of whitened residuals, the maximum of |z| over all rules of a family,
step-down. Every outcome gets the same shuffle of the units. An outcome that is unknown on some
units takes the order of the others in that shuffle.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri, stdtr, stdtrit

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.intp]
Made = dict[tuple[int, int], Singles]

STEPS = 16
CHUNK = 512
"""Draws held in memory at a time."""

LARGEST = 1 - 1e-6
"""The largest |r|: in single precision it is the same as a perfect fit."""


@dataclass(frozen=True, slots=True)
class Block:
    """One outcome of a family.

    Attributes:
        rules: shape (n, m), whitened, nuisance taken out.
        outcome: shape (n,), whitened, nuisance taken out.
        nuisance: shape (n, p), orthonormal basis of the whitened nuisance.
        known: shape (n,), which of all N units these are, ascending.
        penalty: what is taken off |z| before rules are compared, so that these must be that much
            stronger than the rules of other blocks. It is the same for every draw, so that the
            family does not err more often.
    """

    rules: Floats
    outcome: Floats
    nuisance: Floats
    known: Ints
    penalty: float = 0.0

    @property
    def df(self) -> int:
        """Degrees of freedom left for one rule."""
        return int(len(self.outcome) - self.nuisance.shape[1] - 1)


@dataclass(frozen=True, slots=True)
class Family:
    """Adjusted p values of all rules, in the order of the blocks, and their critical |z|.

    Attributes:
        z: shape (m,), |z| of each rule.
        single_step: shape (m,), p by the maximum over the whole family.
        step_down: shape (m,), p by step-down; never smaller for a smaller |z| less its penalty.
        critical: shape (m,), the |z|, with its penalty, that the maximum of the rule's own step
            passes with the chance asked for: over all rules for the best one, over all but the
            best for the next, and so on down to the step at which the first rule fails, whose bound
            all later ones share. Infinite where there are too few draws.
    """

    z: Floats
    single_step: Floats
    step_down: Floats
    critical: Floats


def shuffles(units: int, draws: int, seed: int) -> Ints:
    """Return random orders of the units, shape (draws, units)."""
    rng = np.random.default_rng(seed)
    return rng.permuted(np.tile(np.arange(units), (draws, 1)), axis=1)


def z_from_r(r: Floats, df: int) -> Floats:
    """Return |z| with the same tail as a partial correlation r on df degrees of freedom."""
    with np.errstate(divide="ignore"):
        t = np.abs(r) * np.sqrt(df / np.maximum(1 - np.square(r), 0.0))
    z: Floats = -ndtri(stdtr(df, -t))
    return z


def r_from_z(z: Floats, df: int) -> Floats:
    """Return the |r| whose |z| this is; the inverse of :func:`z_from_r`."""
    finite = np.where(np.isinf(z), 0.0, z)
    t = -stdtrit(df, ndtr(-np.abs(finite)))
    r: Floats = np.where(np.isinf(z), 1.0, t / np.sqrt(df + np.square(t)))
    return r


def judge(
    blocks: Sequence[Block],
    orders: Ints,
    *,
    chance: float = 0.05,
    complete: bool = False,
    exact: int = 128,
    progress: Callable[[float], None] | None = None,
) -> Family:
    """Judge every rule of a family by the permutation distribution of the maximum.

    Args:
        blocks: outcomes of the family, at least one rule among them.
        orders: shape (B, N), shuffles of the units.
        chance: the level of ``critical``.
        complete: the orders are all there are, the observed one among them: p is count / B.
            Else p is (count + 1) / (B + 1).
        exact: step-down is exact for this many best rules; further down all p are bounded from
            above by the maximum over the rest. The bounds are those of the first STEPS steps.
        progress: called with the share done.

    Source: Westfall & Young 1993, Resampling-Based Multiple Testing, algorithm 4.1 (free
    step-down max-T); Freedman & Lane 1983, J Bus Econ Stat 1:292; Phipson & Smyth 2010, Stat Appl
    Genet Mol Biol 9:39 for the added one; Genovese, Roeder & Wasserman 2006, Biometrika 93:509 for
    rules that do not weigh the same.
    """
    ready = [_Ready.of(block) for block in blocks]
    penalty = np.concatenate([np.full(len(item.z), item.block.penalty) for item in ready])
    z = np.concatenate([item.z for item in ready]) - penalty
    order = np.argsort(-z, kind="stable")
    top = order[:exact]
    starts = np.cumsum([0] + [len(item.z) for item in ready])
    passed = np.zeros(len(top), dtype=np.int64)
    steps = min(STEPS, len(top))
    # Blocks of one kind are compared by |r|, all at once.
    limits = {item.kind: item.r_of(_just_under(z[top])) for item in ready}
    peaks = {kind: np.zeros((steps, len(orders)), dtype=np.float32) for kind in limits}
    for begin in range(0, len(orders), CHUNK):
        part = orders[begin : begin + CHUNK]
        reached = np.zeros((len(top), len(part)), dtype=bool)
        found = {kind: np.zeros((len(top), len(part)), dtype=np.float32) for kind in limits}
        made: Made = {}
        for at, item in enumerate(ready):
            mine = np.flatnonzero((top >= starts[at]) & (top < starts[at + 1]))
            r = item.correlations(part, made)
            _add(found[item.kind], r, mine, top[mine] - starts[at])
        for kind, own in found.items():
            _from_there(own)
            reached |= own >= limits[kind][:, None]
            peak = peaks[kind][:, begin : begin + CHUNK]
            np.maximum(peak, own[:steps], out=peak)
        passed += reached.sum(axis=1)
        if progress is not None:
            progress(min(1.0, (begin + CHUNK) / len(orders)))
    added = 0 if complete else 1
    total = len(orders) + added
    step = np.empty(len(z))
    step[top] = np.maximum.accumulate((passed + added) / total)
    highest = _highest(peaks, 0)
    above = len(highest) - np.searchsorted(highest, _just_under(z))
    one = (above + added) / total
    rest = order[exact:]
    step[rest] = np.maximum(one[rest], step[top[-1]])
    place = int(np.ceil((1 - chance) * total)) - 1
    bound = float(highest[place]) if place < len(highest) else np.inf
    critical = np.full(len(z), bound)
    for at in range(1, steps):
        if step[order[at - 1]] > chance:
            break
        critical[order[at:]] = _highest(peaks, at)[place]
    return Family(z + penalty, one, step, critical + penalty)


def _highest(peaks: dict[tuple[int, float], Singles], step: int) -> Floats:
    """Return the maximum |z| less penalty of every draw over the rules left at a step, sorted."""
    found: Floats = np.max(
        [
            z_from_r(np.minimum(peak[step], LARGEST, dtype=float), df) - penalty
            for (df, penalty), peak in peaks.items()
        ],
        axis=0,
    )
    found.sort()
    return found


def largest(block: Block, orders: Ints, way: int = 0) -> Floats:
    """Return the largest |z| over the rules of one outcome in every shuffle, sorted.

    Args:
        block: the outcome and its rules.
        orders: shape (B, N), shuffles of the units.
        way: 1 or -1 takes the largest z in that way, with its sign.
    """
    r = _Ready.of(block).correlations(orders, {}).astype(float)
    highest = (way * r if way else np.abs(r)).max(axis=0)
    z = z_from_r(np.minimum(np.abs(highest), LARGEST), block.df)
    found: Floats = np.sort(np.sign(highest) * z)
    return found


def tail(maxima: Floats, z: float) -> float:
    """Return the p of a z among the maxima of all shuffles and of the order as it was."""
    as_large = len(maxima) - int(np.searchsorted(maxima, z - 1e-5 * max(1.0, abs(z))))
    return (as_large + 1) / (len(maxima) + 1)


def quantile(maxima: Floats, level: float) -> float:
    """Return the z beyond which ``tail`` is at most the level; infinite with too few shuffles."""
    place = int(np.ceil((1 - level) * (len(maxima) + 1))) - 1
    return float(maxima[place]) if place < len(maxima) else np.inf


def signed_z(t: float, df: int) -> float:
    """Return the z with the tail of t, and its sign."""
    return float(np.sign(t) * -ndtri(stdtr(df, -abs(t))))


def critical_t(z: Floats, df: int) -> Floats:
    """Return the t on df degrees of freedom with the tail of z, and its sign, shape as z."""
    r = r_from_z(z, df)
    t: Floats = np.sign(z) * r * np.sqrt(df / np.maximum(1 - r * r, 1e-12))
    t[np.isinf(z)] = np.inf
    return t


@dataclass(frozen=True, slots=True)
class _Ready:
    block: Block
    rules: Singles
    outcome: Singles
    z: Floats

    @property
    def kind(self) -> tuple[int, float]:
        """Blocks of one kind can be compared by |r|."""
        return self.block.df, self.block.penalty

    def r_of(self, z: Floats) -> Singles:
        """Return the |r| of the rules whose |z| less penalty this is; 0 where all have as much."""
        df, penalty = self.kind
        return r_from_z(np.maximum(z + penalty, 0.0), df).astype(np.float32)

    @staticmethod
    def of(block: Block) -> _Ready:
        length = np.linalg.norm(block.rules, axis=0)
        unit = block.rules / np.where(length > 0, length, 1.0)
        size = float(np.linalg.norm(block.outcome))
        outcome = block.outcome / (size if size > 0 else 1.0)
        z = z_from_r(np.clip(outcome @ unit, -LARGEST, LARGEST), block.df)
        rules = np.ascontiguousarray(unit.T, dtype=np.float32)
        return _Ready(block, rules, outcome.astype(np.float32), z)

    def correlations(self, orders: Ints, made: Made) -> Singles:
        """Return r of every rule in every shuffle, shape (m, draws).

        ``made`` holds the shuffled outcomes of these orders: two blocks of one outcome next to one
        nuisance, the same arrays, share theirs.
        """
        beside = id(self.block.outcome), id(self.block.nuisance)
        if beside not in made:
            made[beside] = self._shuffled(orders)
        correlations: Singles = self.rules @ made[beside]
        return correlations

    def _shuffled(self, orders: Ints) -> Singles:
        """Return the outcome in every shuffle, nuisance taken out, shape (n, draws)."""
        known = self.block.known
        place = np.full(orders.shape[1], -1, dtype=np.intp)
        place[known] = np.arange(len(known))
        induced = place[orders]
        if len(known) < orders.shape[1]:
            induced = induced[induced >= 0].reshape(len(orders), len(known))
        shuffled = self.outcome[induced.T]
        taken = np.ascontiguousarray(self.block.nuisance.T, dtype=np.float32) @ shuffled
        left = 1 - np.einsum("pb,pb->b", taken, taken)
        shuffled *= 1 / np.sqrt(np.maximum(left, np.float32(1e-6)))
        return shuffled


def _add(found: Singles, r: Singles, rows: Ints, local: Ints) -> None:
    """Add the |r| of one block to what was found so far at each position of the family's order.

    Args:
        found: shape (positions, b); the last position takes the largest of all other rules.
        r: shape (m, b), of the block's rules; changed.
        rows: positions that this block's best rules take.
        local: those rules, as numbered in the block.
    """
    np.abs(r, out=r)
    found[rows] = np.maximum(found[rows], r[local])
    if len(local) < len(r):
        r[local] = 0
        np.maximum(found[-1], r.max(axis=0), out=found[-1])


def _from_there(found: Singles) -> None:
    """Turn the |r| at each position into the largest from there on."""
    for at in range(len(found) - 2, -1, -1):
        np.maximum(found[at], found[at + 1], out=found[at])


def _just_under(z: Floats) -> Floats:
    """Lower z by what single precision may lose: equal ones count as equal."""
    return z - 1e-5 * np.maximum(1.0, np.abs(z))
