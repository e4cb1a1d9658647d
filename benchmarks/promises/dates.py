"""Whether new days find what the date of a kept idea promises, under the decision of that date."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from benchmarks.calibration.worlds import FIRST_DAY, World, month
from benchmarks.promises.reach import HABITS, searched
from miner.core.period import Period
from miner.core.results import Hypothesis
from miner.followup.following import HELD_UP, compare, judge
from miner.followup.keeping import MAX_DAYS, power_on, reading_days
from miner.hypotheses.describe import at_worth, describe
from miner.hypotheses.design import design
from miner.hypotheses.guard import judge_all
from miner.hypotheses.tested import Spectra
from miner.ledger import Event, Kept
from miner.rulebook import RuleBook

PAIRS = 4


def day(number: int) -> str:
    """Return the ISO date of a day of an invented month."""
    return str(np.datetime64(FIRST_DAY + number, "D"))


def kept_as(found: Hypothesis, worth: float, day_sd: float, days: int) -> Kept:
    """Return a hypothesis as the ledger would keep it, with what the date rests on."""
    what = {
        "id": found.id,
        "as": "watch",
        "factors": list(found.factors),
        "lag_days": list(found.lag_days),
        "definitions": {},
        "suggested_by_days_to": "2026-01-31",
        "read_on": "2026-05-31",
        "outcome": found.outcome,
        "unit_of": "day",
        "direction": "up" if (found.difference or 0.0) > 0 else "down",
        "expected": found.expected_on_new_days,
        "smallest_worth_it": worth,
        "wobble": day_sd,
        "standard_error": found.standard_error,
        "degrees_of_freedom": found.degrees_of_freedom,
        "units": found.counts.known + found.counts.unknown,
        "with": found.counts.with_,
        "without": found.counts.without,
        "t_at_worth": found.t_at_worth,
        "shape": str(found.shape),
        "a_day": (found.counts.known + found.counts.unknown) / days,
    }
    return Kept(Event(1, "", "kept", what, 1, "", ""))


def dates(
    world: World, rules: RuleBook, days: int, diaries: int, first_seed: int
) -> list[tuple[float, int, bool]]:
    """Keep some habits of each first month; return promised power, days, and whether it held up.

    The difference looked for is true of the days that follow, and of none before.
    """
    out = []
    cache: Spectra = {}
    for at in range(diaries):
        seed = first_seed + 13 * at
        rng = np.random.default_rng(seed)
        drawn = month(world, rules, days=days + MAX_DAYS, factors=HABITS, seed=seed)
        first = design(drawn.table, rules, Period(None, day(days - 1)))
        found = searched(first, seed, cache)
        judged = [
            item
            for item in judge_all(found.tests)
            if item.withheld is None and len(item.test.rule.items) == 1
        ]
        for which in rng.choice(len(judged), min(PAIRS, len(judged)), replace=False):
            one = describe(first, judged[which], {}, *at_worth([judged[which].test]))
            target = judged[which].test.target
            item = kept_as(one, target.rule.smallest_worth_it, 1.0, days)
            after = reading_days(item.what, 1)
            power = power_on(item.what, after, 1)
            plan = design(drawn.table, rules, Period(day(days), day(days + after - 1)))
            size = item.what.sought * (1 if (one.difference or 0.0) > 0 else -1)
            own = plan.target(one.outcome)
            habit = next(known for known in own.items if known.factor == one.factors[0])
            moved = replace(own, values=own.values + size * np.nan_to_num(habit.values))
            new = replace(plan, targets=(moved,))
            read = judge(item, compare(new, item.what), [])
            out.append((float(power or 0.0), after, read.status == HELD_UP))
    return out
