"""One pooled question: a factor and an outcome over the units of many clients."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from miner.core.messages import message
from miner.core.results.caseload import Estimate
from miner.stats.effects import t_quantile
from miner.stats.mixed import MixedFit, fit_mixed
from miner.stats.mixed_design import Panel
from miner.stats.pooling import (
    Pooled,
    paule_mandel,
    predetermined,
    two_stage,
    within_between,
    within_residual,
)
from miner.stats.pooling_own import (
    SlopesOnGrid,
    at_common_dependence,
    shrunken_means,
    slopes_on_grid,
)
from miner.stats.scores import share_tied
from miner.stats.shrunken_slopes import ShrunkenSlopes, shrunken_slopes

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
SLOPE = 1
REML_FROM = 20
REACTS_WITHIN = 7.0
MIN_DRAWN = 3
DAYS_ARE_SHARED = message("caseload.days_are_shared")


@dataclass(frozen=True, slots=True, eq=False)
class Units:
    """The units of all clients on which one question is known.

    Attributes:
        y: (units,) outcome.
        x: (units,) factor, 1 or 0, or its dose.
        clients: (units,) the client of each unit, by number.
        times: (units,) days.
        nuisance: (units, c) what is allowed for in every client by itself.
        shared: which columns of ``nuisance`` also have a coefficient common to all clients.
        rows: (units,) where each unit is among all.
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
        names = ("y", "x", "clients", "times", "nuisance", "rows")
        return replace(self, **{name: getattr(self, name)[kept] for name in names})

    @property
    def panel(self) -> Panel:
        """Which client each unit is of, and when."""
        return Panel(self.clients, self.times)

    @property
    def who(self) -> int:
        """How many clients."""
        return int(np.unique(self.clients).size)

    @property
    def share_days(self) -> bool:
        """Whether a client has several units in one day, as meals are."""
        days = np.stack([self.clients, np.floor(self.times)], axis=1)
        return bool(len(np.unique(days, axis=0)) < len(days))


@dataclass(frozen=True, slots=True, eq=False)
class OwnSlopes:
    """A slope for each client, from nothing but that client's records.

    Attributes:
        clients: (clients,) numbers, rising.
        on_grid: the slopes, by the dependence of one unit on another.
        spans: (clients,) how far the client's own quarters of a dose are apart; 1 of a cut.
    """

    clients: Indices
    on_grid: SlopesOnGrid
    spans: Floats


@dataclass(frozen=True, slots=True, eq=False)
class PoolFit:
    """Both answers to one question, and those of each client.

    Attributes:
        clients: (clients,) numbers, rising; ``raw`` (clients,) each by itself, ``shrunken``.
        own: what each client's own records show, untouched by those of any other.
    """

    reml: Estimate
    two_stage: Estimate
    between: Estimate | None
    phi: float | None
    clients: Indices
    raw: Floats
    shrunken: ShrunkenSlopes | None
    own: OwnSlopes

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
        fewest_each_side: fewest days of a client with the factor, and without it.
        fewest_units: fewest units of a client.
        least_kept: least share of the factor's variation that a client's nuisance must leave.
    """
    units = _known(units)
    size = int(units.clients.max(initial=-1)) + 1
    days = np.unique(np.stack([units.clients, np.floor(units.times), units.x]), axis=1)
    with_ = np.bincount(days[0].astype(np.intp), days[2] == 1, size)
    without = np.bincount(days[0].astype(np.intp), days[2] == 0, size)
    enough = np.minimum(with_, without) >= fewest_each_side
    enough &= np.bincount(units.clients, minlength=size) >= fewest_units
    return _telling(units.only(enough[units.clients]), least_kept)


def usable_dose(
    units: Units,
    *,
    fewest_different: int,
    largest_tied: float,
    fewest_units: int,
    least_kept: float,
) -> Units:
    """Leave out units that are not known, and clients whose measure hardly differs.

    Args:
        units: all units, ``x`` a dose.
        fewest_different: fewest different amounts of a client.
        largest_tied: largest share of a client's units with the same amount; the client's
            quarters must be apart as well.
        fewest_units: fewest units of a client.
        least_kept: least share of the dose's variation that a client's nuisance must leave.
    """
    units = _known(units)
    enough = np.zeros(int(units.clients.max(initial=-1)) + 1, dtype=bool)
    for client, x in _by_client(units):
        enough[client] = (
            x.size >= fewest_units
            and np.unique(x).size >= fewest_different
            and share_tied(x) <= largest_tied
            and quarters_apart(x) > 0
        )
    return _telling(units.only(enough[units.clients]), least_kept)


def quarters_apart(values: Floats) -> float:
    """Return how far the lower and the upper quarter of some values are apart."""
    low, high = np.quantile(values, (0.25, 0.75))
    return float(high - low)


def _by_client(units: Units) -> list[tuple[int, Floats]]:
    """Return the number of each client, rising, and the factor on its units."""
    order = np.argsort(units.clients, kind="stable")
    names, starts = np.unique(units.clients[order], return_index=True)
    parts = np.split(units.x[order], starts)[1:]
    return list(zip(names.tolist(), parts, strict=True))


def _known(units: Units) -> Units:
    return units.only(np.isfinite(units.y) & np.isfinite(units.x) & np.isfinite(units.times))


def _telling(units: Units, least_kept: float) -> Units:
    share = within_residual(units.x, units.clients, units.nuisance)[1]
    return units.only(share >= least_kept)


def cleared(units: Units) -> Floats:
    """Return what is left of the factor with each client's own level and nuisance.

    Each unit is cleared by units that cannot have reacted to its outcome: those of the week after
    it are left aside. What is cleared is how far a unit is from its client's mean, so that no
    client's level is of any weight for another.

    Args:
        units: as ``usable`` returns them.
    """
    inside = within_between(units.x, units.clients)[0]
    return predetermined(
        inside, units.clients, units.nuisance, times=units.times, reach=REACTS_WITHIN
    )


def fit_question(units: Units, *, each: bool = True, beside: Floats | None = None) -> PoolFit:
    """Fit both models to the usable units of at least two clients.

    The factor enters as what is left of it once each client's own mean, weekend, drift and
    sensors are taken out (``cleared``), and its mean by client as a term between clients, where
    at least five clients differ in it. Where units share a day, as meals do, there is no model of
    all clients at once: its dependence in time knows no days.

    Args:
        units: as ``usable`` returns them.
        each: predict every client's own slope.
        beside: (units, k) other columns within clients to allow for, or None.
    """
    if beside is not None:
        units = replace(units, nuisance=np.column_stack([units.nuisance, beside]))
    within = cleared(units)
    own = own_slopes(units, within)
    if units.share_days:
        return _fit_by_day_shared(units, own)
    columns, between_at = _columns(units, within)
    if beside is not None:
        columns += [within_between(column, units.clients)[0] for column in beside.T]
    X = np.column_stack(columns)
    fit = _fitted(units, X, within)
    phi = 0.0 if fit.problem else fit.phi
    pooled, slopes = two_stage(units.y, within, units.panel, phi=phi)
    shrunken = None
    if each and not fit.problem:
        shrunken = shrunken_slopes(fit, units.y, X, units.panel, slope_column=SLOPE)
    between = _estimate(fit, between_at, units.who) if between_at else None
    return PoolFit(
        _estimate(fit, SLOPE, units.who),
        _of_two_stage(pooled),
        between,
        phi,
        np.asarray(slopes.names, dtype=np.intp),
        slopes.slopes,
        shrunken,
        own,
    )


def _fit_by_day_shared(units: Units, own: OwnSlopes) -> PoolFit:
    """Pool the clients' own slopes at the dependence within and between days that all agree on."""
    everyone = np.ones((1, own.clients.size), dtype=bool)
    (slopes,), (errors,) = at_common_dependence(own.on_grid, everyone)
    pooled = paule_mandel(slopes, errors)
    nothing = Estimate(None, None, None, None, None, None, units.who, DAYS_ARE_SHARED)
    return PoolFit(
        nothing,
        _of_two_stage(pooled),
        None,
        None,
        own.clients,
        slopes,
        _drawn(own.clients, slopes, errors, pooled),
        own,
    )


def _drawn(
    clients: Indices, slopes: Floats, errors: Floats, pooled: Pooled
) -> ShrunkenSlopes | None:
    """Return each client's slope drawn towards the others; one without has theirs."""
    known = np.isfinite(slopes) & np.isfinite(errors)
    if pooled.problem or known.sum() < MIN_DRAWN:
        return None
    found = shrunken_means(slopes[known], errors[known])
    means, deviations = np.full(slopes.size, pooled.estimate), np.full(slopes.size, pooled.spread)
    deviations = np.hypot(deviations, pooled.standard_error)
    means[known], deviations[known] = found.means, found.deviations
    reach = t_quantile(0.975, pooled.freedom) * deviations
    intervals = np.column_stack([means - reach, means + reach])
    return ShrunkenSlopes(clients, means, deviations, intervals, "")


def own_slopes(units: Units, within: Floats | None = None) -> OwnSlopes:
    """Return a slope for each client that rests on no other client's records.

    Args:
        units: as ``usable`` or ``usable_dose`` return them.
        within: ``cleared(units)`` where it is there already.
    """
    left = cleared(units) if within is None else within
    spans = [
        1.0 if np.isin(x, (0.0, 1.0)).all() else quarters_apart(x) for _, x in _by_client(units)
    ]
    found = slopes_on_grid(units.y, left, units.clients, units.nuisance, units.times)
    return OwnSlopes(np.unique(units.clients), found, np.array(spans))


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
    fit = fit_mixed(units.y, X, units.panel, within)
    if not fit.problem:
        return fit
    simpler = fit_mixed(units.y, X, units.panel, within, random="uncorrelated")
    return fit if simpler.problem else simpler


def _estimate(fit: MixedFit, at: int, clients: int) -> Estimate:
    if fit.problem:
        return Estimate(None, None, None, None, None, None, clients, fit.problem)
    low, high = fit.intervals()[at]
    spread = float(np.sqrt(fit.random_covariance[1, 1])) if at == SLOPE else None
    return Estimate(
        float(fit.coefficients[at]),
        float(fit.standard_errors[at]),
        (float(low), float(high)),
        float(fit.freedom[at]),
        float(fit.p_values()[at]),
        spread,
        clients,
    )


def _of_two_stage(pooled: Pooled) -> Estimate:
    if pooled.problem:
        return Estimate(None, None, None, None, None, None, pooled.groups, pooled.problem)
    return Estimate(
        pooled.estimate,
        pooled.standard_error,
        pooled.interval,
        float(pooled.freedom),
        pooled.p,
        pooled.spread,
        pooled.groups,
    )
