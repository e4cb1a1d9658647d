"""An outcome as recorded, among imitations in which nothing is true."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from miner.core.results import Hypothesis, Ranking
from miner.core.results.briefing import Lineup
from miner.hypotheses.error_rate import model, world
from miner.rulebook import RuleBook
from miner.tables.unit_table import UnitTable

IMITATIONS = 19


def lineups(
    table: UnitTable, rules: RuleBook, ranking: Ranking, chosen: Sequence[Hypothesis], seed: int
) -> dict[str, Lineup]:
    """Return a line-up for each that was chosen, of the outcomes an imitation can be drawn of.

    Source: Buja et al. 2009, Phil Trans R Soc A 367:4361.
    """
    if not chosen or ranking.primary_outcome is None:
        return {}
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, IMITATIONS])))
    fitted = model(table, rules, ranking.primary_outcome)
    drawn = [world(fitted, rng).frame for _ in range(IMITATIONS)]
    found = {}
    for item in chosen:
        if item.outcome not in fitted.names:
            continue
        panels = [_values(frame[item.outcome].to_numpy(dtype=float)) for frame in drawn]
        real = int(rng.integers(IMITATIONS + 1))
        panels.insert(real, _values(table.frame[item.outcome].to_numpy(dtype=float)))
        names = tuple(str(name) for name in table.frame.index)
        found[item.id] = Lineup(item.id, names, tuple(panels), real)
    return found


def _values(column: np.ndarray[tuple[int], np.dtype[np.float64]]) -> tuple[float | None, ...]:
    return tuple(None if np.isnan(value) else float(value) for value in column)
