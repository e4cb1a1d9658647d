"""What new units say of everything kept: counts before the date, a verdict once it is reached."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import isnan, nan

import numpy as np

from miner.core.messages import Words, message
from miner.core.results.follow import EveryLook, NewUnits
from miner.followup.fresh import STOPPED, UNSETTLED, Fresh
from miner.ledger import FollowupState, FrozenIdea, Kept
from miner.stats.multiplicity import evidence, holm, units_needed

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
    """Return the p of a verdict that stands, or 1 without one."""
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
    """Return how many days longer looking every day takes; None where that cannot be told."""
    a_day = 1.0 if kept.unit_of == "day" else kept.a_day
    if one is None or every is None or not a_day:
        return None
    return int(np.ceil((every - one) / a_day))


def scale_of(kept: FrozenIdea) -> float:
    """Return the size of effects compared with, in SD of a unit: what is looked for."""
    if not kept.wobble:
        return SCALE_UNKNOWN
    return float(np.clip(kept.sought / kept.wobble, *SCALES))


def _price(kept: FrozenIdea, scale: float, level: float) -> tuple[int | None, int | None]:
    error, wobble, units = kept.standard_error, kept.wobble, kept.units
    if not error or not wobble or not units:
        return None, None
    return units_needed(
        kept.sought / wobble,
        (wobble / error) ** 2 / units,
        scale=scale,
        level=level,
        nuisance=NUISANCE,
    )


def new_units(found: Fresh) -> NewUnits:
    """Return the counts that may be told at any time: nothing of the outcome."""
    counts = found.counts
    return NewUnits(found.units, counts.with_, counts.without, counts.unknown)
