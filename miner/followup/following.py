"""Kept hypotheses on units that did not suggest them: counts, and a verdict on their date."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import isnan, nan

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from miner.core.messages import Words, message
from miner.core.period import Period
from miner.core.results import Counts, Shape, Withheld
from miner.core.results.follow import EveryLook, NewUnits
from miner.hypotheses.candidates import count, doses, singles, too_few
from miner.hypotheses.design import Design, design
from miner.hypotheses.tested import Spectra, whitened
from miner.ledger import FollowupState, FrozenIdea, Kept
from miner.rulebook import RuleBook
from miner.stats.effects import single, t_quantile
from miner.stats.multiplicity import evidence, holm, units_needed
from miner.stats.scores import combine
from miner.tables.unit_table import UnitTable

Floats = NDArray[np.float64]
_NO_DOSE = Withheld(message("followup.no_dose"))
STOPPED, UNSETTLED = "habit_stopped", "not_settled"


@dataclass(frozen=True, slots=True)
class Fresh:
    """What new units say.

    Attributes:
        counts: with, without, unknown, of new units on which the outcome is known.
        units: usable new units.
        closed: why it is not tested, or None.
        stopped: whether that is so for want of days with the habit.
        difference: with less without, the outcome's own unit; NaN where it is not tested.
        score_t: t on the scale of normal scores.
        df: its degrees of freedom.
        inner: sum of squares of the habit's column, whitened, nuisance taken out.
    """

    counts: Counts
    units: int
    closed: Withheld | None = None
    stopped: bool = False
    difference: float = nan
    standard_error: float = nan
    score_t: float = nan
    df: int = 0
    inner: float = nan

    def p(self, direction: int) -> float:
        """Return the one-sided p in a direction (1 up, -1 down), NaN where it is not tested."""
        return float(stdtr(self.df, -direction * self.score_t)) if self.closed is None else np.nan

    def limits(self, level: float) -> tuple[float, float] | None:
        """Return both one-sided limits, each at ``1 - level``."""
        if self.closed is not None:
            return None
        reach = t_quantile(1 - level, self.df) * self.standard_error
        return self.difference - reach, self.difference + reach


def fresh(
    table: UnitTable, rules: RuleBook, kept: FrozenIdea, after: str, until: str | None
) -> Fresh:
    """Compare units with and without the habit that start after one day and up to another.

    Args:
        table: the client's units, made with the kept definitions.
        rules: the rule books with the kept definitions.
        kept: what the ledger keeps: factors, outcome.
        after: ISO date; units that start later count.
        until: ISO date of the last unit that counts, or None.
    """
    first = (date.fromisoformat(after) + timedelta(days=1)).isoformat()
    return compare(design(table, rules, Period(first, until)), kept)


def each_day(
    table: UnitTable, rules: RuleBook, kept: FrozenIdea, after: str, until: str, least: int
) -> Iterator[tuple[str, Fresh]]:
    """Compare the same on every day up to which there are units: what a look on that day sees.

    Args:
        table: as in :func:`fresh`.
        rules: as in :func:`fresh`.
        kept: as in :func:`fresh`.
        after: as in :func:`fresh`.
        until: ISO date of the last look.
        least: days after ``after`` to the first look.
    """
    own = replace(
        table,
        outcomes=(kept.outcome,),
        factors=tuple(name for name in table.factors if name in kept.factors),
    )
    first = (date.fromisoformat(after) + timedelta(days=least)).isoformat()
    for day in sorted(set(table.frame["date"].astype(str))):
        if first <= day <= until:
            yield day, fresh(own, rules, kept, after, day)


def compare(plan: Design, kept: FrozenIdea, spectra: Spectra | None = None) -> Fresh:
    """Compare units of a design with and without the habit.

    Args:
        plan: the new units.
        kept: what the ledger keeps: factors, outcome.
        spectra: decompositions to share between calls on units of the same times.
    """
    target = plan.target(kept.outcome)
    columns = {item.factor: item.values for item in target.items}
    unknown = np.full(len(plan.names), nan)  # where these records do not hold the habit
    values = amounts = combine([columns.get(name, unknown) for name in kept.factors])
    counts = count(values[:, None], target)[0]
    if kept.shape == Shape.DOSE:
        lines = doses(plan, target, singles(plan, target))
        own = (r for r in lines if target.items[r.items[0]].factor == kept.factors[0])
        rule, stopped = next(own, None), False
        closed = _NO_DOSE if rule is None else None
        if rule is not None and rule.amounts is not None:
            values, amounts = rule.values, rule.amounts
    else:
        closed, least = too_few(values[:, None], target, plan)[0], plan.guard.fewest_units_each_side
        stopped = counts.with_ < least <= counts.without and counts.unknown < counts.known
    found = Fresh(counts, len(plan.names), closed, closed is not None and stopped)
    if closed is not None:
        return found
    names = plan.made_from(item for item in target.items if item.factor in kept.factors)
    white = whitened(plan, target.values, {} if spectra is None else spectra)
    if white is None:
        return replace(found, closed=Withheld(message("followup.few_new", unit=plan.unit)))
    white = white.without(names)
    column = white.whitened_columns(values[:, None])
    if not float(white.kept(column)[0]) >= plan.guard.least_variation_kept:
        return replace(found, closed=Withheld(message("followup.not_told_apart")))
    sizes = white.cleared(white.whitened_columns(amounts[:, None]))
    raw = single(sizes, white.raw, white.rank)
    return replace(
        found,
        difference=float(raw.difference[0]),
        standard_error=float(raw.standard_error[0]),
        score_t=float(single(white.cleared(column), white.scores, white.rank).t[0]),
        df=white.df,
        inner=float(np.square(sizes).sum()),
    )


WAITING, HELD_UP, NOT_HELD = "waiting", "held_up", "did_not_hold"
ENDED = (HELD_UP, NOT_HELD, STOPPED, UNSETTLED)
LEVEL = 0.05
SCALES = (0.3, 1.5)
SCALE_UNKNOWN = 0.8
NUISANCE = 4
FIRST_LOOK = 14


@dataclass(frozen=True, slots=True)
class Read:
    """What is to be said of one kept hypothesis on its date.

    Attributes:
        p_adjusted: Holm over what was followed at the same time; one not read yet counts as 1.
    """

    status: str
    difference: float | None
    interval: tuple[float, float] | None
    p: float | None
    p_adjusted: float | None
    reason: Words


def sign(kept: FrozenIdea) -> int:
    """Return 1 where more was seen with the habit, -1 where less."""
    return 1 if kept.direction == "up" else -1


def followed_together(item: Kept, story: FollowupState) -> list[Kept]:
    """Return what was watched at the same time as one kept hypothesis, itself among them."""
    return [
        other
        for other in story.kept
        if other.as_ == "watch"
        and other.entry.n < (item.closed_at or 10**12)
        and item.entry.n < (other.closed_at or 10**12)
    ]


def known_p(other: Kept) -> float:
    """Return the p of a verdict that counts, or 1 without one."""
    p = other.verdict.payload.get("p") if other.verdict else None
    return 1.0 if p is None else float(p)


def judge(item: Kept, found: Fresh, others: Sequence[float], level: float = LEVEL) -> Read:
    """Return the verdict of one kept hypothesis whose date is reached.

    Args:
        item: what was kept.
        found: its new units.
        others: p of everything else followed at the same time, 1 where it is not read yet.
        level: of the test and of the limits.
    """
    if found.closed is not None:
        reason, have, need = found.closed.reason, found.closed.have, found.closed.need
        if have is not None and need is not None:
            reason = message("followup.counts_needed", reason=reason, have=have, need=need)
        return Read(STOPPED if found.stopped else UNSETTLED, None, None, None, None, reason)
    way = sign(item.what)
    p = found.p(way)
    adjusted = float(holm(np.array([p, *others]))[0])
    limits = found.limits(level)
    upper = nan if limits is None else limits[1] if way > 0 else -limits[0]
    status = UNSETTLED
    if adjusted <= level and way * found.difference > 0:
        status = HELD_UP
    elif upper < item.what.smallest_worth_it / item.what.span:
        status = NOT_HELD
    return Read(status, found.difference, limits, p, adjusted, "")


def every_look(
    item: Kept, looks: Iterable[tuple[str, Fresh]], together: int, level: float = LEVEL
) -> EveryLook:
    """Return the reading that may be looked at every day, and what it costs.

    What has once been clear stays so: it is the chance of ever getting there that is held.

    Args:
        item: what was kept; the effect looked for sets the scale.
        looks: each day up to now, ISO, with the new units up to it.
        together: how many are followed at the same time; each has an equal share of the level.
        level: chance that any of them is ever called clear where nothing is true.
    """
    scale, share = scale_of(item.what), level / max(together, 1)
    value, reached_on = nan, None
    for day, found in looks:
        value = evidence(sign(item.what) * found.score_t, found.df, found.inner, scale)
        if reached_on is None and value >= 1 / share:
            reached_on = day
    one, every = _price(item.what, scale, share)
    return EveryLook(
        None if isnan(value) else value,
        1 / share,
        reached_on is not None,
        one,
        every,
        _days(item.what, one, every),
        reached_on,
    )


def _days(kept: FrozenIdea, one: int | None, every: int | None) -> int | None:
    """Return how many days longer looking every day takes; None where that is not known."""
    a_day = 1.0 if kept.unit_of == "day" else kept.a_day
    if one is None or every is None or not a_day:
        return None
    return int(np.ceil((every - one) / a_day))


def scale_of(kept: FrozenIdea) -> float:
    """Return the size of effects compared with, in SD of a unit: what is looked for."""
    if not kept.unit_sd:
        return SCALE_UNKNOWN
    return float(np.clip(kept.sought / kept.unit_sd, *SCALES))


def _price(kept: FrozenIdea, scale: float, level: float) -> tuple[int | None, int | None]:
    error, unit_sd, units = kept.standard_error, kept.unit_sd, kept.units
    if not error or not unit_sd or not units:
        return None, None
    return units_needed(
        kept.sought / unit_sd,
        (unit_sd / error) ** 2 / units,
        scale=scale,
        level=level,
        nuisance=NUISANCE,
    )


def new_units(found: Fresh) -> NewUnits:
    """Return the counts that may be reported at any time: nothing of the outcome."""
    counts = found.counts
    return NewUnits(found.units, counts.with_, counts.without, counts.unknown)
