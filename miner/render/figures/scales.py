"""Numbers along an axis: round ones, and room for marks that would lie on each other."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor, log10


def round_step(span: float, most: int) -> float:
    """Return 1, 2 or 5 times a power of ten, so that at most so many steps fill the span."""
    if span <= 0:
        return 1.0
    rough = span / most
    power = 10.0 ** floor(log10(rough))
    return next(m * power for m in (1, 2, 5, 10) if m * power >= rough * (1 - 1e-9))


def round_ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Return round numbers from just below the lowest to just above the highest."""
    step = round_step(high - low, most)
    first, last = floor(low / step), ceil(high / step)
    return [round(step * k, 10) for k in range(first, max(last, first + 1) + 1)]


def levels(places: Sequence[float], width: float) -> list[int]:
    """Return for each place the lowest level at which nothing nearer than ``width`` stands."""
    found = [0] * len(places)
    taken: dict[int, float] = {}
    for at in sorted(range(len(places)), key=lambda k: (places[k], k)):
        level = 0
        while level in taken and places[at] - taken[level] < width * (1 - 1e-9):
            level += 1
        taken[level] = places[at]
        found[at] = level
    return found
