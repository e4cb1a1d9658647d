"""Movement: which rows of the activity stream were walking, brisk, or hard, and the steps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from miner.records.client import Client
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
WALKING_STEPS_A_MIN = 1000 / 15
COUNTED_ON_MOST_DAYS = 0.5


@dataclass(frozen=True, slots=True)
class Movement:
    """The activity stream, sorted by what it says.

    Attributes:
        walking: rows whose kind is walking, and step blocks of 1000 steps in 15 minutes or more.
        active: walking, moderate and vigorous rows, and exercise whatever its intensity.
        vigorous: rows noted as vigorous.
        unrated: exercise without an intensity, which may have been vigorous.
        rated: whether any row of the stream has an intensity.
        middle, steps, origin: of rows with a step count, by the instant halfway through.
        counts_steps: whether steps were counted on most days, so that a day without is a day off.
    """

    walking: Spans
    active: Spans
    vigorous: Spans
    unrated: Spans
    rated: bool
    middle: Times
    steps: Floats
    origin: tuple[Source, ...]
    counts_steps: bool

    def steps_in(self, begin: int, finish: int) -> tuple[float, tuple[Source, ...]]:
        """Return the steps counted in a window (NaN where none was noted) and their rows."""
        low, high = np.searchsorted(self.middle, [begin, finish], side="left")
        if high <= low:
            return float("nan"), ()
        return float(self.steps[low:high].sum()), self.origin[low:high]


def movement_of(client: Client) -> Movement:
    """Sort the activity rows of a client."""
    frame = client.used("activity")
    start, end = seconds(frame["start"]), seconds(frame["end"])
    steps, rows, kinds = numbers(frame["steps"]), origins(frame), kinds_of(frame)

    def spans(mask: Mask) -> Spans:
        places = np.flatnonzero(mask)
        return Spans.of(start[places], end[places], [rows[k] for k in places])

    rate = steps / np.maximum((end - start) / 60, 1e-9)
    on_foot = rate >= WALKING_STEPS_A_MIN
    counted = np.flatnonzero(~np.isnan(steps))
    middle = (start + end) // 2
    counted = counted[np.argsort(middle[counted], kind="stable")]
    return Movement(
        walking=spans(kinds.walking | on_foot),
        active=spans(kinds.walking | kinds.brisk | kinds.unrated | on_foot),
        vigorous=spans(kinds.vigorous),
        unrated=spans(kinds.unrated),
        rated=kinds.rated,
        middle=middle[counted],
        steps=steps[counted],
        origin=tuple(rows[k] for k in counted),
        counts_steps=_on_most_days(middle[counted], middle),
    )


class Kinds(NamedTuple):
    """Which rows are what, by their own words, and whether any of them has an intensity."""

    walking: Mask
    brisk: Mask
    vigorous: Mask
    unrated: Mask
    rated: bool


def kinds_of(frame: pd.DataFrame) -> Kinds:
    """Sort rows of the activity stream by what they say of themselves."""
    names, intensity = words(frame["kind"]), words(frame["intensity"])
    rated = np.array([bool(item) for item in intensity], dtype=bool)
    return Kinds(
        walking=_named(names, WALKING),
        brisk=np.array([item in BRISK for item in intensity], dtype=bool),
        vigorous=np.array([item == "vigorous" for item in intensity], dtype=bool),
        unrated=_named(names, EXERCISE) & ~rated,
        rated=bool(rated.any()),
    )


def _named(kinds: list[str], parts: tuple[str, ...]) -> Mask:
    named = {kind: any(part in kind for part in parts) for kind in set(kinds)}
    return np.array([named[kind] for kind in kinds], dtype=bool)


def _on_most_days(counted: Times, every: Times) -> bool:
    if not counted.size:
        return False
    days = (every.max() - every.min()) // DAY + 1
    return bool(np.unique(counted // DAY).size >= COUNTED_ON_MOST_DAYS * days)
