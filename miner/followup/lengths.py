"""Short, middle and long: what a test of each length takes, and what it would find.

What a test can show is the contrast of its arms, not the difference of the pattern: of a habit that
comes on 10 of 39 usual nights, the change takes away a quarter of the difference at most.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from miner.core.results.lengths import Contrast, Length, Lengths
from miner.core.results.ranking import Shape
from miner.followup.keeping import MAX_DAYS, power_on, reading_days
from miner.followup.planning import MIN_PAIRS, Scatter, Size, lay_out, spread_of, weeks_of
from miner.ledger import FrozenIdea
from miner.rulebook import FactorRule
from miner.stats.power import pairs_detectable, pairs_power

WEEKS = {"short": 4, "middle": 8, "long": 16}
ENOUGH = 0.6


def contrast_of(kept: FrozenIdea, rule: FactorRule) -> Contrast:
    """Return what the arms would differ by.

    Formula: difference x |share of usual units with the habit - share under the change|, the
    change ending the habit (or bringing it about) on every unit; of a dose whose change asks the
    same of every unit, difference x asked / amount.

    Args:
        kept: what is to be tested, of one habit.
        rule: of that habit.
    """
    of_claim = kept.expected is not None
    difference = abs(float(kept.expected)) if of_claim else kept.smallest_worth_it / kept.span
    if kept.shape == Shape.DOSE and kept.per is not None and rule.asks is not None:
        amount = float(kept.per.amount)
        size = difference * rule.asks / amount
        return Contrast(size, difference, of_claim, asks=rule.asks, amount=amount)
    with_, without = int(kept.with_ or 0), int(kept.without or 0)
    moved = with_ if rule.helpful == "without" else without
    share = moved / (with_ + without) if with_ + without else 0.0
    if kept.shape == Shape.DOSE:
        difference *= kept.span
    return Contrast(difference * share, difference, of_claim, with_, without)


def lengths_of(
    kept: FrozenIdea,
    rule: FactorRule,
    scatter: Scatter,
    start: date,
    *,
    offset_days: int,
    unit: str,
    sensor_changes: Sequence[date],
    sensor_days: int,
    together: int = 1,
) -> Lengths:
    """Return the tests of at most 4, 8 and 16 weeks, with what each would find.

    Args:
        kept: what is to be tested, of one habit.
        rule: of that habit.
        scatter: of the client's units.
        start: first day of the test.
        offset_days: days from a habit's day to the row it is read from.
        unit: of the outcome.
        sensor_changes: known dates of a new sensor.
        sensor_days: how long a sensor is worn where no change is known.
        together: how many are followed at the same time, this one among them.
    """
    contrast = contrast_of(kept, rule)
    period = rule.carry_over_days + 1
    spread = spread_of(scatter, period, rule.carry_over_days)
    found = []
    for name, weeks in WEEKS.items():
        size = Size(period, rule.carry_over_days, weeks * 7 // (2 * period), spread)
        while size.pairs >= MIN_PAIRS:
            periods, changes = lay_out(size, start, offset_days, None, sensor_changes, sensor_days)
            if weeks_of(periods) <= weeks:
                break
            size = Size(period, rule.carry_over_days, size.pairs - 1, spread)
        else:
            continue
        last = date.fromisoformat(periods[-1].last) + timedelta(days=offset_days)
        found.append(
            Length(
                name,
                weeks,
                weeks_of(periods),
                len(changes) + 1,
                size.pairs,
                period,
                pairs_detectable(spread, size.pairs),
                pairs_power(contrast.size, spread, size.pairs),
                last.isoformat(),
            )
        )
    watch = power_on(kept, MAX_DAYS, together)
    return Lengths(
        contrast=contrast,
        lengths=tuple(found),
        default=next((one.name for one in found if one.power >= ENOUGH), None),
        watch_days=reading_days(kept, together) if watch is not None and watch >= 0.8 else None,
        watch_power=watch,
        watched=MAX_DAYS,
        unit=unit,
    )
