"""One pooled question: a factor and an outcome over the units of many clients."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from miner.results.caseload import Estimate
from miner.stats.mixed import MixedFit, fit_mixed
from miner.stats.pooling import Pooled, within_between
from miner.stats.pooling_slopes import two_stage
from miner.stats.predetermined import predetermined
from miner.stats.shrunken_slopes import ShrunkenSlopes, shrunken_slopes
from miner.stats.within_residual import within_residual

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
SLOPE = 1
REML_FROM = 20
REACTS_WITHIN = 7.0


@dataclass(frozen=True, slots=True, eq=False)
class Units:
    """The units of all clients on which one question is known.

    Attributes:
        y: (units,) outcome.
        x: (units,) factor, 1 or 0.
        clients: (units,) the client of each unit, by number.
        times: (units,) days.
        nuisance: (units, c) what is allowed for in every client by itself.
        shared: which columns of ``nuisance`` also have a coefficient common to all clients.
        rows: (units,) where each unit stands among all.
    """

    y: Floats
    x: Floats
    clients: Indices
    times: Floats
    nuisance: Floats
    shared: tuple[int, ...]
    rows: Indices

    def only(self, kept: NDArray[np.bool_]) -> Units:
        """Return some of the units."""
        return Units(
            self.y[kept], self.x[kept], self.clients[kept], self.times[kept],
            self.nuisance[kept], self.shared, self.rows[kept],
        )  # fmt: skip

    @property
    def who(self) -> int:
        """How many clients."""
        return int(np.unique(self.clients).size)


@dataclass(frozen=True, slots=True, eq=False)
class PoolFit:
    """Both answers to one question, and those of each client.

    Attributes:
        clients: (clients,) numbers, rising; ``raw`` (clients,) each by itself, ``shrunken``.
    """

    reml: Estimate
    two_stage: Estimate
    between: Estimate | None
    phi: float
    clients: Indices
    raw: Floats
    shrunken: ShrunkenSlopes | None

    @property
    def method(self) -> str:
        """Return "reml" from 20 clients on, where it could be fitted; else "two_stage"."""
        enough = self.reml.clients >= REML_FROM and self.reml.difference is not None
        return "reml" if enough else "two_stage"

    @property
    def answer(self) -> Estimate:
        """The answer of that method."""
        return self.reml if self.method == "reml" else self.two_stage


def usable(units: Units, *, fewest_each_side: int, fewest_units: int, least_kept: float) -> Units:
    """Leave out units that are not known, and clients who cannot tell anything.

    Args:
        units: all units.
        fewest_each_side: fewest units of a client with the factor, and without it.
        fewest_units: fewest units of a client.
        least_kept: least share of the factor's variation that a client's nuisance must leave.
    """
    known = np.isfinite(units.y) & np.isfinite(units.x) & np.isfinite(units.times)
    units = units.only(known)
    size = int(units.clients.max(initial=-1)) + 1
    with_ = np.bincount(units.clients, units.x == 1, size)
    without = np.bincount(units.clients, units.x == 0, size)
    enough = (np.minimum(with_, without) >= fewest_each_side) & (with_ + without >= fewest_units)
    units = units.only(enough[units.clients])
    share = within_residual(units.x, units.clients, units.nuisance)[1]
    return units.only(share >= least_kept)


def fit_question(units: Units, *, each: bool = True, beside: Floats | None = None) -> PoolFit:
    """Fit both models to the usable units of at least two clients.

    The factor enters as what is left of it once each client's own mean, weekend, drift and
    sensors are taken out, each unit's by units that cannot have reacted to its outcome (those of
    the week after it are left aside), and its mean by client as a term between clients, where at
    least five clients differ in it.

    Args:
        units: as ``usable`` returns them.
        each: predict every client's own slope.
        beside: (units, k) other columns within clients to allow for, or None.
    """
    nuisance = units.nuisance if beside is None else np.column_stack([units.nuisance, beside])
    within = predetermined(
        units.x, units.clients, nuisance, times=units.times, reach=REACTS_WITHIN
    )  # fmt: skip
    columns, between_at = _columns(units, within)
    if beside is not None:
        columns += [within_between(column, units.clients)[0] for column in beside.T]
    X = np.column_stack(columns)
    fit = _fitted(units, X, within)
    phi = 0.0 if fit.problem else fit.phi
    pooled, slopes = two_stage(units.y, within, units.clients, times=units.times, phi=phi)
    own = None
    if each and not fit.problem:
        own = shrunken_slopes(
            fit, units.y, X, units.clients, within, slope_column=SLOPE, times=units.times
        )
    between = _estimate(fit, between_at, units.who) if between_at else None
    return PoolFit(
        _estimate(fit, SLOPE, units.who), _of_two_stage(pooled), between, phi,
        np.asarray(slopes.names, dtype=np.intp), slopes.slopes, own,
    )  # fmt: skip


def _columns(units: Units, within: Floats) -> tuple[list[Floats], int]:
    columns, between_at = [np.ones(units.y.size), within], 0
    mean = within_between(units.x, units.clients)[1]
    if units.who >= 5 and np.ptp(mean) > 0:
        between_at = len(columns)
        columns.append(mean - mean.mean())
    for at in units.shared:
        inside = within_between(units.nuisance[:, at], units.clients)[0]
        if np.abs(inside).max(initial=0.0) > 1e-9:
            columns.append(inside)
    return columns, between_at


def _fitted(units: Units, X: Floats, within: Floats) -> MixedFit:
    fit = fit_mixed(units.y, X, units.clients, within, times=units.times)
    if not fit.problem:
        return fit
    simpler = fit_mixed(
        units.y, X, units.clients, within, random="uncorrelated", times=units.times
    )  # fmt: skip
    return fit if simpler.problem else simpler


def _estimate(fit: MixedFit, at: int, clients: int) -> Estimate:
    if fit.problem:
        return Estimate(None, None, None, None, None, None, clients, fit.problem)
    low, high = fit.intervals()[at]
    spread = float(np.sqrt(fit.random_covariance[1, 1])) if at == SLOPE else None
    return Estimate(
        float(fit.coefficients[at]), float(fit.standard_errors[at]), (float(low), float(high)),
        float(fit.freedom[at]), float(fit.p_values()[at]), spread, clients,
    )  # fmt: skip


def _of_two_stage(pooled: Pooled) -> Estimate:
    if pooled.problem:
        return Estimate(None, None, None, None, None, None, pooled.groups, pooled.problem)
    return Estimate(
        pooled.estimate, pooled.standard_error, pooled.interval, float(pooled.freedom), pooled.p,
        pooled.spread, pooled.groups,
    )  # fmt: skip
