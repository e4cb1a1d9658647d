"""Every unit by how much of a habit it had, with the fitted line and what its interval allows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from typing import TYPE_CHECKING

from miner.render.figures.inline import MARK
from miner.render.figures.paper import INK, LABEL, LINE, ONE, SOFT, TWO, axes, drawing, sheet
from miner.render.figures.scales import round_ticks

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
    """A slope, for one unit of the amount.

    Attributes:
        half: half the width of its interval; 0 where it has none.
        reach: how many standard errors that is.
    """

    slope: float
    half: float = 0.0
    reach: float = 0.0

    def band(self, points: Sequence[Point], away: Sequence[float]) -> list[float]:
        """Return half the width of the band so far from the middle of the points.

        The line is as unsure as the mean of the points in their middle, and as its slope beside.

        Source: the interval of a fitted mean; Draper and Smith 1998, Applied Regression Analysis,
        3rd ed., section 3.1. The slope's error is that of the test, dependence allowed for.
        """
        x, y = ([getattr(p, name) for p in points] for name in ("amount", "value"))
        centre = sum(x) / len(x), sum(y) / len(y)
        left = [b - centre[1] - self.slope * (a - centre[0]) for a, b in zip(x, y, strict=True)]
        spread = sqrt(sum(value * value for value in left) / max(len(left) - 2, 1))
        middle = self.reach * spread / sqrt(len(points))
        return [hypot(middle, self.half * distance) for distance in away]


def scatter(
    points: Sequence[Point], line: Line, labels: tuple[str, str], width: int, size: float = 11.0
) -> Figure:
    """Draw a mark a unit, the line through their middle, and the band of its interval.

    Args:
        points: at least one.
        line: through their middle.
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
    half = line.band(points, [at - middle[0] for at in x])
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
