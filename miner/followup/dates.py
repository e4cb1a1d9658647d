"""When a kept idea is read on new days, and how often that date shows what is looked for."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil, isfinite
from typing import Any

from miner.core.results import Shape
from miner.followup.following import LEVEL, sought, span
from miner.stats.power import AtHand, new_units_for, power_on_new_units

SHORTEST, LONGEST = 14, 120
WANTED = 0.8
LEAST_EACH_SIDE = 5


def at_hand(kept: Mapping[str, Any]) -> AtHand | None:
    """Return what the units it was kept from say of the difference looked for.

    None of an entry that does not hold it.
    """
    t, units, df = (kept.get(name) for name in ("t_at_worth", "units", "degrees_of_freedom"))
    with_, without = float(kept.get("with") or 0), float(kept.get("without") or 0)
    if not units or df is None or t is None or not isfinite(t) or not with_ + without > 0:
        return None
    if kept.get("shape") == Shape.DOSE:
        with_ = without = (with_ + without) / 2
    t *= sought(kept) / (float(kept["smallest_worth_it"]) / span(kept))
    return AtHand(float(t), int(units), int(units - df - 1), with_, without)


def power_on(kept: Mapping[str, Any], days: int, together: int) -> float | None:
    """Return how often the difference looked for holds up after so many days; None if not known.

    Args:
        kept: as frozen.
        days: from the last day seen to the date.
        together: how many are followed at the same time.
    """
    hand = at_hand(kept)
    if hand is None:
        return None
    units = int(days * float(kept.get("a_day") or 1.0))
    return power_on_new_units(hand, units, LEVEL / together, _least(kept))


def reading_days(kept: Mapping[str, Any], together: int) -> int:
    """Return after how many days a kept idea is read, within 14 to 120.

    After as many as find the difference looked for 80 times in 100, by themselves.
    """
    hand, a_day = at_hand(kept), float(kept.get("a_day") or 1.0)
    if hand is None:
        return LONGEST
    most = ceil(LONGEST * a_day)
    units = new_units_for(hand, LEVEL / together, WANTED, _least(kept), most)
    return LONGEST if units is None else min(max(ceil(units / a_day), SHORTEST), LONGEST)


def _least(kept: Mapping[str, Any]) -> int:
    return 0 if kept.get("shape") == Shape.DOSE else LEAST_EACH_SIDE
