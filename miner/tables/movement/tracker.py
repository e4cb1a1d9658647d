"""Movement: which rows of the activity stream were walking, brisk, or hard, and the steps."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from miner.records.client import Client
from miner.records.columns import STILL
from miner.tables.clockwork import DAY, Floats, Times, seconds
from miner.tables.columns import Source, numbers, origins, words
from miner.tables.limits import Mask
from miner.tables.spans import Spans

WALKING = ("walk",)
EXERCISE = (
    "run", "jog", "cycl", "bik", "swim", "row", "hik", "climb", "danc", "gym", "sport", "tennis",
    "football", "soccer", "basketball", "exercise", "workout", "training", "strength", "aerobic",
)  # fmt: skip
"""Parts of a kind that name exercise; a row of such a kind without an intensity still counts."""

BRISK = ("moderate", "vigorous")
ALL_STEPS = "steps"
BLOCKS = (ALL_STEPS, STILL)
"""Kinds of rows that are blocks of the day, not bouts of movement."""

WALKING_STEPS_A_MIN = 1000 / 15
COUNTED_ON_MOST_DAYS = 0.5


@dataclass(frozen=True, slots=True)
class Movement:
    """The activity stream, sorted by what it says. Of a row with active minutes only these count.

    Attributes:
        walking: rows whose kind is walking, and step blocks of 1000 steps in 15 minutes or more
            where no row tells active minutes.
        active: walking, moderate and vigorous rows, and exercise whatever its intensity.
        vigorous: rows noted as vigorous.
        unrated: exercise without an intensity, which may have been vigorous.
        rated: whether any row of the stream has an intensity.
        blocks, bouts: the steps of blocks, and of single bouts of movement.
        once: all steps, each once: those of a walk that a row of kind "steps" overlaps are among
            the steps of that row. A quiet block holds none but its own: some trackers write it
            beside a walk of the same quarter of an hour.
        counted: the time that rows with a step count cover.
        counts_steps: whether steps were counted on most days, so that a day without is a day off.
    """

    walking: Spans
    active: Spans
    vigorous: Spans
    unrated: Spans
    rated: bool
    blocks: Steps
    bouts: Steps
    once: Steps
    counted: Spans
    counts_steps: bool


@dataclass(frozen=True, slots=True)
class Steps:
    """Rows with a step count by the instant halfway through; ``total``: the steps before each."""

    middle: list[int]
    total: list[float]
    origin: tuple[Source, ...]

    @classmethod
    def of(cls, middle: Times, steps: Floats, rows: list[Source], mask: Mask) -> Steps:
        """Return the rows of a mask."""
        places = np.flatnonzero(mask & ~np.isnan(steps))
        places = places[np.argsort(middle[places], kind="stable")]
        total = np.concatenate([[0.0], np.cumsum(steps[places])])
        return cls(middle[places].tolist(), total.tolist(), tuple(rows[k] for k in places))

    def within(self, begin: int, finish: int) -> tuple[float, tuple[Source, ...]]:
        """Return the steps of a window (NaN where none was noted) and their rows."""
        low, high = bisect_left(self.middle, begin), bisect_left(self.middle, finish)
        if high <= low:
            return float("nan"), ()
        return self.total[high] - self.total[low], self.origin[low:high]


def movement_of(client: Client) -> Movement:
    """Sort the activity rows of a client."""
    frame = client.used("activity")
    start, end = seconds(frame["start"]), seconds(frame["end"])
    steps, rows, kinds = numbers(frame["steps"]), origins(frame), kinds_of(frame)
    told = numbers(frame["active_min"])

    def spans(mask: Mask) -> Spans:
        places = np.flatnonzero(mask)
        own = [rows[k] for k in places]
        return Spans.of(start[places], end[places], own, told[places])

    on_foot = steps / np.maximum((end - start) / 60, 1e-9) >= WALKING_STEPS_A_MIN
    if not np.isnan(told).all():
        known = spans(~np.isnan(told))
        for k in np.flatnonzero(on_foot):
            on_foot[k] = not known.touch(int(start[k]), int(end[k]))
    middle = (start + end) // 2
    counted = ~np.isnan(steps)
    all_steps = spans(kinds.all_steps & counted)
    once = counted.copy()
    for k in np.flatnonzero(counted & ~kinds.all_steps):
        once[k] = not all_steps.touch(int(start[k]), int(end[k]))
    return Movement(
        walking=spans(kinds.walking | on_foot),
        active=spans(kinds.walking | kinds.brisk | kinds.unrated | on_foot),
        vigorous=spans(kinds.vigorous),
        unrated=spans(kinds.unrated),
        rated=kinds.rated,
        blocks=Steps.of(middle, steps, rows, kinds.blocks),
        bouts=Steps.of(middle, steps, rows, ~kinds.blocks),
        once=Steps.of(middle, steps, rows, once),
        counted=Spans.of(start[counted], end[counted], [("", 0)] * int(counted.sum())),
        counts_steps=_on_most_days(middle[counted], middle),
    )


class Kinds(NamedTuple):
    """Which rows are what, by their own words, and whether any of them has an intensity."""

    walking: Mask
    brisk: Mask
    vigorous: Mask
    unrated: Mask
    blocks: Mask
    all_steps: Mask
    rated: bool


def kinds_of(frame: pd.DataFrame) -> Kinds:
    """Sort rows of the activity stream by what they say of themselves; "still" is no movement."""
    names, intensity = words(frame["kind"]), words(frame["intensity"])
    blocks = np.array([item in BLOCKS for item in names], dtype=bool)
    still = np.array([item == STILL for item in names], dtype=bool)
    rated = np.array([bool(item) for item in intensity], dtype=bool)
    return Kinds(
        walking=_named(names, WALKING),
        brisk=np.array([item in BRISK for item in intensity], dtype=bool) & ~still,
        vigorous=np.array([item == "vigorous" for item in intensity], dtype=bool) & ~still,
        unrated=_named(names, EXERCISE) & ~rated,
        blocks=blocks,
        all_steps=np.array([item == ALL_STEPS for item in names], dtype=bool),
        rated=bool((rated & ~still).any()),
    )


def _named(kinds: list[str], parts: tuple[str, ...]) -> Mask:
    named = {kind: any(part in kind for part in parts) for kind in set(kinds)}
    return np.array([named[kind] for kind in kinds], dtype=bool)


def _on_most_days(counted: Times, every: Times) -> bool:
    if not counted.size:
        return False
    days = (every.max() - every.min()) // DAY + 1
    return bool(np.unique(counted // DAY).size >= COUNTED_ON_MOST_DAYS * days)
