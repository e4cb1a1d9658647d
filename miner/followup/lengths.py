"""Short, middle and long: what a test of each length takes, and what it would find.

What a test can show is the contrast of its arms, not the difference of the pattern: of a habit that
comes on 10 of 39 usual nights, the change takes away a quarter of the difference at most.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from miner.core.results.follow import PlanPeriod
from miner.core.results.lengths import Contrast, Length, Lengths
from miner.core.unit import Shape
from miner.followup.keeping import MAX_DAYS, power_on, reading_days
from miner.followup.planning import MIN_PAIRS, Wish, lay_out, offset_of, weeks_of
from miner.followup.sizes import Scatter, Size, detectable_by, power_of, sized
from miner.ledger import FrozenIdea
from miner.rulebook import FactorRule

WEEKS = {"short": 4, "middle": 8, "long": 16}
ENOUGH = 0.6


def contrast_of(
    kept: FrozenIdea, rule: FactorRule, counts: tuple[int, int] | None = None
) -> Contrast:
    """Return what the arms would differ by.

    Formula: difference x |share of usual units with the habit - share under the change|, the
    change ending the habit (or bringing it about) on every unit; of a dose whose change asks the
    same of every unit, difference x asked / amount.

    Args:
        kept: what is to be tested, of one habit.
        rule: of that habit.
        counts: usual units with the habit and without it; None for those of what was kept.
    """
    of_claim = kept.expected is not None
    worth = float(kept.smallest_worth_it) / kept.span
    difference = worth if kept.expected is None else abs(float(kept.expected))
    if kept.shape == Shape.DOSE and kept.per is not None and rule.asks is not None:
        amount = float(kept.per.amount)
        size = difference * rule.asks / amount
        return Contrast(size, difference, of_claim, asks=rule.asks, amount=amount)
    with_, without = counts or (int(kept.with_ or 0), int(kept.without or 0))
    moved = with_ if rule.helpful == "without" else without
    share = moved / (with_ + without) if with_ + without else 0.0
    if kept.shape == Shape.DOSE:
        difference *= kept.span
    return Contrast(difference * share, difference, of_claim, with_, without)


def lengths_of(
    kept: FrozenIdea,
    rule: FactorRule,
    scatter: Scatter,
    wish: Wish,
    *,
    sensor_changes: Sequence[date],
    together: int = 1,
) -> Lengths:
    """Return the tests of at most 4, 8 and 16 weeks, with what each would find.

    Args:
        kept: what is to be tested, of one habit.
        rule: of that habit.
        scatter: of the client's units.
        wish: when it begins, and how long a sensor is worn where no change is known.
        sensor_changes: known dates of a new sensor.
        together: how many are followed at the same time, this one among them.
    """
    contrast = contrast_of(kept, rule, scatter.counts)
    shortest = sized(without_habit(scatter, contrast), rule.carry_over_days, MIN_PAIRS)
    found = []
    for name, at_most in WEEKS.items():
        for pairs in range(7 * at_most // (2 * shortest.period_days), MIN_PAIRS - 1, -1):
            size = replace(shortest, pairs=pairs)
            periods, changes = lay_out(
                size, wish.start, offset_of(kept, rule), None, sensor_changes, wish.worn_days
            )
            if weeks_of(periods) <= at_most:
                found.append(_length(name, size, contrast.size, periods, len(changes) + 1))
                break
    watch = power_on(kept, MAX_DAYS, together)
    return Lengths(
        contrast=contrast,
        lengths=tuple(found),
        default=next((one.name for one in found if one.power >= ENOUGH), None),
        watch_days=reading_days(kept, together) if watch is not None and watch >= 0.8 else None,
        watch_power=watch,
        watched=MAX_DAYS,
    )


def without_habit(scatter: Scatter, contrast: Contrast) -> Scatter:
    """Return the scatter, with what the habit's coming and going adds to it told.

    Formula: difference^2 x share x (1 - share), of a habit that is there or not; of a dose every
    unit is asked the same, and both arms scatter alike.

    Args:
        scatter: of the client's usual units.
        contrast: of the arms.
    """
    with_, without = contrast.with_ or 0, contrast.without or 0
    if not with_ or not without:
        return scatter
    share = with_ / (with_ + without)
    return replace(scatter, habit_variance=contrast.difference**2 * share * (1 - share))


def _length(
    name: str, size: Size, contrast: float, periods: Sequence[PlanPeriod], sensors: int
) -> Length:
    return Length(
        name=name,
        at_most=WEEKS[name],
        weeks=weeks_of(periods),
        sensors=sensors,
        pairs=size.pairs,
        period_days=size.period_days,
        finds=detectable_by(size),
        power=power_of(size, contrast),
        last_day=periods[-1].last,
    )
