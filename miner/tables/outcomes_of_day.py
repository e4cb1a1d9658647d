"""The outcomes of a day, each with the share of its window that must hold readings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from miner.errors import MinerError
from miner.rulebook import OutcomeRule, nearest
from miner.tables.climbs import biggest_climbs
from miner.tables.clockwork import Floats
from miner.tables.found import Found, unknown
from miner.tables.limits import Mask, above
from miner.tables.trace import Trace
from miner.tables.windows import Windows

BEYOND_THE_SENSOR = "it lies beyond what the sensor shows (LO or HI)"
DAY_MIN = 1440


@dataclass(frozen=True, slots=True)
class Piece:
    """The readings of one window.

    Attributes:
        value, ordered, minutes: as in ``Trace``.
        climb: the largest climb of the smoothed readings, mg/dL.
        above: which readings are above the client's range.
    """

    value: Floats
    ordered: Floats
    minutes: Floats
    climb: float
    above: Mask


def _median(piece: Piece) -> float:
    middle = np.sort(piece.ordered)[[(piece.ordered.size - 1) // 2, piece.ordered.size // 2]]
    return float(middle.mean()) if np.isfinite(middle).all() else np.inf


def _mean(piece: Piece) -> float:
    seen = ~np.isnan(piece.value)
    return weighted_mean(piece.value[seen], piece.minutes[seen])


def weighted_mean(value: Floats, minutes: Floats) -> float:
    """Return the mean of readings weighted by the time they stand for."""
    return float((value * minutes).sum() / minutes.sum())


def weighted_sd(value: Floats, minutes: Floats) -> float:
    """Return the standard deviation with n - 1 of readings weighted by the time they stand for.

    Formula: sqrt(n / (n - 1) * sum w (x - m)^2 / sum w), m the weighted mean; with equal
    weights the sample standard deviation. NaN with fewer than two readings.
    """
    if value.size < 2:
        return float("nan")
    spread = weighted_mean((value - weighted_mean(value, minutes)) ** 2, minutes)
    return float(np.sqrt(spread * value.size / (value.size - 1)))


def _variability(piece: Piece) -> float:
    seen = ~np.isnan(piece.value)
    return weighted_sd(piece.value[seen], piece.minutes[seen])


def _minutes_above(piece: Piece) -> float:
    return float(DAY_MIN * piece.minutes[piece.above].sum() / piece.minutes.sum())


def _climb(piece: Piece) -> float:
    return piece.climb


OUTCOMES: Mapping[str, tuple[Callable[[Piece], float], bool]] = {
    "wake_glucose": (_median, True),
    "overnight_mean": (_mean, False),
    "day_mean": (_mean, False),
    "variability": (_variability, False),
    "minutes_above": (_minutes_above, True),
    "biggest_rise": (_climb, True),
}
"""Each outcome's number, and whether LO and HI count as readings for it."""


def outcomes_over(
    trace: Trace,
    smooth: Floats,
    windows: Mapping[str, Windows],
    rules: Mapping[str, OutcomeRule],
    limit: float,
) -> dict[str, list[Found]]:
    """Return every outcome of the rule book over its windows.

    Args:
        trace: the readings.
        smooth: the smoothed readings.
        windows: by the name the rule book uses (wake, night, day).
        rules: the outcomes of a day.
        limit: upper end of the client's range, mg/dL.

    Raises:
        MinerError: the rule book names an outcome or a window that is not known.
    """
    above_range = above(trace.ordered, trace.tenths, limit)
    out = {}
    for name, rule in rules.items():
        _known(name, rule, windows)
        window = windows[rule.window]
        climbs = np.full(len(window.why), np.nan)
        if OUTCOMES[name][0] is _climb:
            climbs = biggest_climbs(trace, smooth, window.low, window.high)
        out[name] = [
            _one(trace, window, k, name, rule, float(climbs[k]), above_range)
            for k in range(len(window.why))
        ]
    return out


def _known(name: str, rule: OutcomeRule, windows: Mapping[str, Windows]) -> None:
    if name not in OUTCOMES:
        expected = f"one of {', '.join(OUTCOMES)}"
        do = nearest(name, OUTCOMES) or "Correct that table's name."
        raise MinerError(f"[{name}] is not an outcome of a day", expected, do, file="outcomes.toml")
    if rule.window not in windows:
        raise MinerError(
            f"[{name}] window is '{rule.window}'",
            f"one of {', '.join(windows)}",
            "Correct that key and run again.",
            file="outcomes.toml",
        )


def _one(
    trace: Trace,
    window: Windows,
    k: int,
    name: str,
    rule: OutcomeRule,
    climb: float,
    above_range: Mask,
) -> Found:
    if window.why[k]:
        return unknown(window.why[k])
    measure, with_censored = OUTCOMES[name]
    low, high = int(window.low[k]), int(window.high[k])
    value, minutes = trace.value[low:high], trace.minutes[low:high]
    counted = minutes.sum() if with_censored else minutes[~np.isnan(value)].sum()
    share = covered(float(counted), int(window.end[k] - window.start[k]))
    if share < rule.coverage:
        return unknown(
            f"readings cover {percent(share)} of this window, {percent(rule.coverage)} are needed",
            trace.ends(low, high),
        )
    number = measure(Piece(value, trace.ordered[low:high], minutes, climb, above_range[low:high]))
    if not np.isfinite(number):
        return unknown(BEYOND_THE_SENSOR, trace.ends(low, high))
    return Found(number, rows=trace.ends(low, high))


def covered(minutes: float, window_seconds: int) -> float:
    """Return the share of a window that readings cover, at most 1; 0 for an empty window."""
    if window_seconds <= 0:
        return 0.0
    return min(1.0, round(minutes * 60 / window_seconds, 9))


def percent(share: float) -> str:
    """Return a share as whole per cent, rounded down so that too little never looks enough."""
    return f"{int(round(share * 100, 6))} %"
