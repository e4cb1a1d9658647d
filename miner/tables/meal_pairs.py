"""Meals that come back: pairs that differ in one factor, and pairs that do not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.tables.clockwork import DAY, Floats, from_usual
from miner.tables.food.foods import alike, one_name
from miner.tables.unit_table import UnitTable

CARBS_WITHIN_G = 15
CLOCK_WITHIN_MIN = 90
FAR = 1e6


@dataclass(frozen=True, slots=True)
class Pair:
    """Two rows of a meal table: with the factor, and without it."""

    with_: str
    without: str
    similar_by: str
    also_differs: tuple[str, ...]


def pairs_of(table: UnitTable, factor: str, outcome: str) -> tuple[Pair, ...]:
    """Return pairs of similar meals with and without a factor, each meal used once.

    Similar: the same words in the label (in any order, in the singular or the plural), or
    carbohydrate within 15 g and time of day within 90 minutes. Nearest pairs first: those that
    differ in the fewest other habits, then those with the same words, then the least apart in
    carbohydrate, then in time of day.

    Args:
        table: a meal table.
        factor: one of its factors.
        outcome: the outcome that must be known of both.
    """
    frame = _known(table, outcome)
    yes, no = frame[frame[factor] == 1], frame[frame[factor] == 0]
    if not len(yes) or not len(no):
        return ()
    words, other = yes["words"].to_numpy(object), no["words"].to_numpy(object)
    label = (words[:, None] == other[None, :]) & (words != "")[:, None]
    grams, away = _apart(yes, no)
    amount = (grams <= CARBS_WITHIN_G) & (away <= CLOCK_WITHIN_MIN)
    others = [name for name in table.factors if name != factor and ":" not in name]
    unlike = _unlike(yes, no, others)
    count = unlike.sum(axis=2)
    found = np.argwhere(label | amount)
    keys = [
        (int(count[i, j]), not label[i, j], float(grams[i, j]), float(away[i, j])) for i, j in found
    ]
    order = sorted(range(len(found)), key=lambda place: (keys[place], tuple(found[place])))
    return tuple(
        Pair(
            str(yes.index[i]),
            str(no.index[j]),
            "label" if label[i, j] else "carbohydrate and time",
            tuple(name for name, differs in zip(others, unlike[i, j], strict=True) if differs),
        )
        for i, j in _each_once(found[order])
    )


def repeats_of(table: UnitTable, outcome: str, factor: str | None = None) -> Floats:
    """Return the differences of an outcome between meals that are the same, later minus earlier.

    The same: the same words in the label, carbohydrate within 15 g where both tell it, time of
    day within 90 minutes, and no difference in the factor. Each meal is used once.
    """
    frame = _known(table, outcome)
    if factor is not None:
        frame = frame[frame[factor].notna()]
    frame = frame.assign(side=0.0 if factor is None else frame[factor])
    out: list[float] = []
    for _, group in frame[frame["words"] != ""].groupby(["words", "side"], sort=True):
        values = group[outcome].to_numpy(np.float64)
        grams, away = _apart(group, group)
        near = (away <= CLOCK_WITHIN_MIN) & ((grams <= CARBS_WITHIN_G) | (grams >= FAR))
        free = list(range(len(group)))
        while free:
            first = free.pop(0)
            other = next((place for place in free if near[first, place]), None)
            if other is not None:
                free.remove(other)
                out.append(float(values[other] - values[first]))
    return np.array(out, dtype=np.float64)


def _known(table: UnitTable, outcome: str) -> pd.DataFrame:
    """Return the usable meals whose outcome is known, with the words of their labels."""
    food = table.context.get("food", table.frame["label"]).tolist()
    names = one_name(food)
    frame = table.frame.assign(words=[alike(label, names) for label in food])
    return frame[frame["usable"] & frame[outcome].notna()]


def _apart(left: pd.DataFrame, right: pd.DataFrame) -> tuple[Floats, Floats]:
    """Return how many grams (a million where one does not tell) and minutes each two differ."""
    a, b = (part["carbs_g"].to_numpy(np.float64) for part in (left, right))
    grams = np.nan_to_num(np.abs(a[:, None] - b[None, :]), nan=FAR)
    x, y = (
        part["start"].to_numpy("datetime64[s]").astype(np.int64) % DAY for part in (left, right)
    )
    return grams, np.abs(from_usual(x[:, None] - y[None, :], 0)) / 60


def _unlike(left: pd.DataFrame, right: pd.DataFrame, names: list[str]) -> NDArray[np.bool_]:
    a, b = (part[names].to_numpy(np.float64) for part in (left, right))
    apart: NDArray[np.bool_] = np.abs(a[:, None, :] - b[None, :, :]) == 1
    return apart


def _each_once(pairs: NDArray[np.intp]) -> Iterator[tuple[int, int]]:
    left: set[int] = set()
    right: set[int] = set()
    for i, j in pairs.tolist():
        if i not in left and j not in right:
            left.add(i)
            right.add(j)
            yield i, j
