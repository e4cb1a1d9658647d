"""Movement: which rows of the activity stream were walking, brisk, or hard, and the steps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from miner.records.client import Client
from miner.tables.clockwork import DAY, Floats, Times, seconds
from miner.tables.columns import Source, numbers, origins, words
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
    """Sort the used activity rows of a client."""
    frame = client.used("activity")
    start, end = seconds(frame["start"]), seconds(frame["end"])
    kinds, intensity = words(frame["kind"]), words(frame["intensity"])
    steps, rows = numbers(frame["steps"]), origins(frame)

    def spans(mask: NDArray[np.bool_]) -> Spans:
        places = np.flatnonzero(mask)
        return Spans.of(start[places], end[places], [rows[k] for k in places])

    rate = steps / np.maximum((end - start) / 60, 1e-9)
    walking = _named(kinds, WALKING) | (rate >= WALKING_STEPS_A_MIN)
    exercise = _named(kinds, EXERCISE)
    rated = np.array([bool(item) for item in intensity], dtype=bool)
    brisk = np.array([item in BRISK for item in intensity], dtype=bool)
    counted = np.flatnonzero(~np.isnan(steps))
    middle = (start + end) // 2
    counted = counted[np.argsort(middle[counted], kind="stable")]
    return Movement(
        walking=spans(walking),
        active=spans(walking | brisk | (exercise & ~rated)),
        vigorous=spans(np.array([item == "vigorous" for item in intensity], dtype=bool)),
        unrated=spans(exercise & ~rated),
        rated=bool(rated.any()),
        middle=middle[counted],
        steps=steps[counted],
        origin=tuple(rows[k] for k in counted),
        counts_steps=_on_most_days(middle[counted], middle),
    )


def _named(kinds: list[str], parts: tuple[str, ...]) -> NDArray[np.bool_]:
    named = {kind: any(part in kind for part in parts) for kind in set(kinds)}
    return np.array([named[kind] for kind in kinds], dtype=bool)


def _on_most_days(counted: Times, every: Times) -> bool:
    if not counted.size:
        return False
    days = (every.max() - every.min()) // DAY + 1
    return bool(np.unique(counted // DAY).size >= COUNTED_ON_MOST_DAYS * days)
