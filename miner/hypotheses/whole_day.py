"""The day as a whole: the mean of its outcomes, asked about in a fixed question only."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.rulebook import RuleBook
from miner.stats.scores import normal_scores
from miner.tables.unit_table import UnitTable

NAME = "whole_day"
LEAST_KNOWN = 0.5

Floats = NDArray[np.float64]


def with_whole_day(table: UnitTable, rules: RuleBook) -> UnitTable:
    """Return the table with the mean of each day's outcomes as one more; of meals as it is.

    The outcomes of a waking day and those of the night after it, each as normal scores over the
    usable days, worse side up. A day on which fewer than half are known has none.
    """
    if table.unit != "day" or NAME in table.outcomes or NAME not in rules.outcomes:
        return table
    used = table.frame["usable"].to_numpy(dtype=bool)
    days = table.frame["day_number"].to_numpy(dtype=np.int64)
    made = [
        pd.Series(_mean(frame, table.outcomes, rules, used, days), frame.index, name=NAME)
        for frame in (table.frame, table.by_clock)
    ]
    return replace(
        table,
        frame=pd.concat([table.frame, made[0]], axis=1),
        by_clock=pd.concat([table.by_clock, made[1]], axis=1),
        outcomes=(*table.outcomes, NAME),
    )


def _mean(
    frame: pd.DataFrame,
    outcomes: tuple[str, ...],
    rules: RuleBook,
    used: NDArray[np.bool_],
    days: NDArray[np.int64],
) -> Floats:
    columns = []
    for name in outcomes:
        rule = rules.outcome(name)
        values = np.where(used, frame[name].to_numpy(dtype=float), np.nan)
        scores = np.full(len(values), np.nan)
        known = ~np.isnan(values)
        scores[known] = normal_scores(values[known])
        if rule.window != "day":
            scores = _of_the_night_after(scores, days)
        columns.append(scores if rule.worse == "higher" else -scores)
    stack = np.column_stack(columns) if columns else np.empty((len(used), 0))
    count = (~np.isnan(stack)).sum(axis=1)
    enough = (count >= LEAST_KNOWN * stack.shape[1]) & (count > 0)
    total = np.where(np.isnan(stack), 0.0, stack).sum(axis=1)
    return np.asarray(np.where(enough, total / np.maximum(count, 1), np.nan))


def _of_the_night_after(scores: Floats, days: NDArray[np.int64]) -> Floats:
    """Return what stands in the row of the next day, to which the night after belongs."""
    if not len(days):
        return scores
    place = np.minimum(np.searchsorted(days, days + 1), len(days) - 1)
    return np.asarray(np.where(days[place] == days + 1, scores[place], np.nan))
