"""Every unit by how much of a habit it had, with the fitted line and what its interval allows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot
from typing import TYPE_CHECKING

from miner.brief.figures.inline import MARK
from miner.brief.figures.paper import INK, LABEL, LINE, ONE, SOFT, TWO, axes, drawing, sheet
from miner.brief.figures.scales import round_ticks

if TYPE_CHECKING:
    from matplotlib.figure import Figure

HEIGHT, LEFT, TOP = 330.0, 58.0, 30.0
STEPS = 24


@dataclass(frozen=True, slots=True)
class Point:
    """One unit: its key, how much of the habit, where it stands, and whether it is high."""

    key: str
    amount: float
    value: float
    high: bool


@dataclass(frozen=True, slots=True)
class Line:
    """A slope with its interval, for one unit of the amount; ``middle`` is half the band there."""

    slope: float
    interval: tuple[float, float] | None
    middle: float = 0.0

    def half(self, away: float) -> float:
        """Return half the width of the band so far from the middle."""
        if self.interval is None:
            return 0.0
        return hypot(self.middle, (max(self.interval) - min(self.interval)) / 2 * away)


def scatter(
    points: Sequence[Point], line: Line, labels: tuple[str, str], width: int, size: float = 11.0
) -> Figure:
    """Draw a mark a unit, the line through their middle, and the band of its interval.

    Args:
        points: at least one.
        line: slope, the value's unit for one unit of the amount.
        labels: of the amount and of the value, each with its unit.
        width: in points.
        size: of a mark, in points.
    """
    amounts, values = [p.amount for p in points], [p.value for p in points]
    across = round_ticks(min(amounts), max(amounts), 7 if width > 500 else 4)
    middle = sum(amounts) / len(points), sum(values) / len(points)
    first, last = min(amounts), max(amounts)
    x = [first + (last - first) * step / STEPS for step in range(STEPS + 1)]
    y = [middle[1] + line.slope * (at - middle[0]) for at in x]
    half = [line.half(at - middle[0]) for at in x]
    low, high = ([b + sign * h for b, h in zip(y, half, strict=True)] for sign in (-1, 1))
    up = round_ticks(min(*values, *low), max(*values, *high), 6)
    total = TOP + HEIGHT + 56
    with drawing():
        figure = sheet(width, total)
        box = axes(figure, LEFT, TOP, width - LEFT - 16, HEIGHT)
        box.set_xlim(across[0], across[-1])
        box.set_ylim(up[0], up[-1])
        box.set_xticks(across, [f"{tick:g}" for tick in across])
        box.set_yticks(up, [f"{tick:g}" for tick in up])
        for tick in up:
            box.axhline(tick, color=LINE, lw=0.8, zorder=0)
        box.fill_between(x, low, high, color=LINE, lw=0, zorder=1)
        box.plot(x, y, color=INK, lw=2.4, zorder=2)
        for point in points:
            colour = TWO if point.high else ONE
            box.plot(
                [point.amount],
                [point.value],
                "D" if point.high else "o",
                ms=size * (0.8 if point.high else 0.95),
                mfc=colour,
                mec=colour,
                mew=1.2,
                gid=f"{MARK}{point.key}",
                zorder=4,
                clip_on=False,
            )
        figure.text(0.5, 8 / total, labels[0], ha="center", fontsize=13, color=SOFT)
        figure.text(
            8 / width,
            1 - 16 / total,
            labels[1],
            ha="left",
            va="center",
            fontsize=13,
            color=SOFT,
            bbox=LABEL,
        )
        return figure
