"""The outcomes of a meal: the two hours after it, cut at the next food."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from miner.core.errors import MinerError, closest
from miner.core.messages import Message
from miner.rulebook import OutcomeRule
from miner.tables.area import incremental_area
from miner.tables.climbs import BEYOND, beyond
from miner.tables.clockwork import Floats
from miner.tables.columns import Source
from miner.tables.food.meals import Meal
from miner.tables.found import Found, because, unknown
from miner.tables.glucose.outcomes import covered, percent
from miner.tables.glucose.trace import Trace
from miner.tables.limits import Mask, above

WINDOW_MIN = 120
BASELINE_FROM, BASELINE_TO = -15 * 60, 5 * 60
BASELINE_COVERAGE = 0.5
LONGEST_GAP_MIN = 20


@dataclass(frozen=True, slots=True)
class After:
    """The readings of the two hours after a meal.

    Attributes:
        minutes: after its start; those just outside the two hours are there to draw the line.
        values: mg/dL, NaN for LO and HI.
        smooth: smoothed readings inside, LO and HI beyond every reading.
        weights, over: minutes each reading inside stands for, and whether it is above the range.
        baseline: mg/dL, NaN where it is not known, infinite beyond the sensor.
        coverage: share of the two hours that readings cover.
        cut_min: minutes to the next food, where that is sooner than two hours, else infinite.
        sensors: how many sensors the readings from the baseline on come from.
    """

    minutes: Floats
    values: Floats
    smooth: Floats
    smooth_at: Floats
    weights: Floats
    over: Mask
    baseline: float
    coverage: float
    cut_min: float
    sensors: int
    rows: tuple[Source, ...]


def after_meals(trace: Trace, smooth: Floats, meals: Sequence[Meal], limit: float) -> list[After]:
    """Return the readings after each meal.

    Args:
        trace: the readings.
        smooth: the smoothed readings.
        meals: in time order.
        limit: upper end of the client's range, mg/dL.
    """
    over = above(trace.ordered, trace.tenths, limit)
    at = np.array([meal.at for meal in meals], dtype=np.int64)
    begins, ends = (at + BASELINE_FROM, at), (at + BASELINE_TO, at + WINDOW_MIN * 60)
    low = [np.searchsorted(trace.at, begin, side="left") for begin in begins]
    high = [np.searchsorted(trace.at, end, side="right") for end in ends]
    places = np.stack([low[0], high[0], low[1], high[1]], axis=1)
    return [
        _after(trace, smooth, over, meal, row)
        for meal, row in zip(meals, places.tolist(), strict=True)
    ]


def _after(trace: Trace, smooth: Floats, over: Mask, meal: Meal, places: list[int]) -> After:
    first, ready, low, high = places
    wide = slice(max(low - 1, 0), high + 1)
    inside = slice(low, high)
    weights = trace.minutes[inside]
    minutes = (trace.at[wide] - meal.at) / 60
    counted = weights[(trace.at[inside] - meal.at) < WINDOW_MIN * 60].sum()
    cut = (meal.next_food - meal.at) / 60
    return After(
        minutes=minutes,
        values=trace.value[wide],
        smooth=smooth[inside],
        smooth_at=(trace.at[inside] - meal.at) / 60,
        weights=weights,
        over=over[inside],
        baseline=_baseline(trace, first, ready),
        coverage=covered(float(counted), WINDOW_MIN * 60),
        cut_min=cut if cut < WINDOW_MIN else np.inf,
        sensors=np.unique(trace.sensor[first:high]).size if high > first else 0,
        rows=trace.ends(first, high),
    )


def _baseline(trace: Trace, low: int, high: int) -> float:
    length = BASELINE_TO - BASELINE_FROM
    if high <= low or covered(float(trace.minutes[low:high].sum()), length) < BASELINE_COVERAGE:
        return float("nan")
    ordered = np.clip(trace.ordered[low:high], -BEYOND, BEYOND)
    return float(beyond(np.median(ordered, keepdims=True))[0])


def _rise(piece: After) -> float:
    return float(piece.smooth.max()) - piece.baseline


def _area(piece: After) -> float:
    first = max(int(np.searchsorted(piece.minutes, 0, "right")) - 1, 0)
    last = int(np.searchsorted(piece.minutes, WINDOW_MIN)) + 1
    if np.isnan(piece.values[first:last]).any():
        return BEYOND
    return incremental_area(
        piece.minutes, piece.values, piece.baseline, WINDOW_MIN, longest_gap=LONGEST_GAP_MIN
    )


def _peak(piece: After) -> float:
    return float(piece.smooth.max())


def _minutes_above(piece: After) -> float:
    return float(piece.weights[piece.over].sum() / piece.weights.sum() * WINDOW_MIN)


OUTCOMES: Mapping[str, tuple[Callable[[After], float], bool]] = {
    "rise": (_rise, True),
    "area_2h": (_area, True),
    "peak": (_peak, False),
    "minutes_above": (_minutes_above, False),
}
"""Each outcome's number, and whether it needs the baseline."""


def outcomes_after(
    pieces: Sequence[After], rules: Mapping[str, OutcomeRule]
) -> dict[str, list[Found]]:
    """Return every outcome of the rule book for each meal.

    What was cut by the next food before the two hours were over is unknown, and says so.

    Raises:
        MinerError: the rule book names an outcome of a meal that is not known.
    """
    for name, rule in rules.items():
        if name not in OUTCOMES or rule.window != "after_meal":
            raise MinerError(
                "tables.not_an_outcome_of_a_meal",
                file="outcomes.toml",
                name=name,
                window=rule.window,
                known=list(OUTCOMES),
                close=closest(name, OUTCOMES),
            )
    return {name: [_one(piece, name, rule) for piece in pieces] for name, rule in rules.items()}


def _one(piece: After, name: str, rule: OutcomeRule) -> Found:
    measure, from_baseline = OUTCOMES[name]
    if why := why_unknown(piece, rule.coverage):
        return unknown(why, piece.rows)
    if from_baseline and np.isnan(piece.baseline):
        return unknown("no_baseline", piece.rows)
    if from_baseline and abs(piece.baseline) >= BEYOND:
        return unknown("beyond_the_sensor", piece.rows)
    number = measure(piece)
    if np.isnan(number):
        return unknown(because("gap_after_meal", minutes=LONGEST_GAP_MIN), piece.rows)
    if abs(number) >= BEYOND / 2:
        return unknown("beyond_the_sensor", piece.rows)
    return Found(number, rows=piece.rows)


def why_unknown(piece: After, coverage: float) -> Message | None:
    """Return why nothing can be read after a meal, None where it can."""
    if piece.coverage < coverage and not np.isfinite(piece.cut_min):
        share, need = percent(piece.coverage), percent(coverage)
        return because("readings_after_meal", share=share, need=need)
    if np.isfinite(piece.cut_min):
        return because("next_food_came", minutes=piece.cut_min, window=WINDOW_MIN)
    if piece.sensors > 1:
        return because("sensor_changed")
    return None
