"""Whether all factors together foretell later units better than the client's own average."""

from __future__ import annotations

from dataclasses import fields

import numpy as np

from miner.core.results import Together
from miner.hypotheses.design import Design
from miner.stats.out_of_sample import out_of_sample


def foretold(plan: Design, outcome: str) -> Together:
    """Foretell each later part of the record from what came before it.

    ``better`` asks for a gain of two standard errors. The held-back units are taken as
    independent, so this describes and never claims.
    """
    target = plan.target(outcome)
    factors = (
        np.column_stack([item.values for item in target.items])
        if target.items
        else np.empty((len(plan.names), 0))
    )
    found = out_of_sample(target.values, factors)
    better = bool(found.gain > 2 * found.gain_se) if not found.reason else None
    return Together(
        outcome=outcome,
        better=better,
        **{each.name: getattr(found, each.name) for each in fields(found)},
    )
