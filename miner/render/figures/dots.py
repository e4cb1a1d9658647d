"""Every unit as a dot on the outcome's own scale: with, without, and the unknown ones aside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from typing import TYPE_CHECKING, Any

from miner.render.figures.inline import MARK
from miner.render.figures.paper import (
    INK,
    LABEL,
    LINE,
    ONE,
    PAPER,
    SOFT,
    TWO,
    axes,
    drawing,
    levels,
    round_ticks,
    sheet,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


# The height in points above which the dots of one place overlap: many values can be the same.
TALLEST = 150.0


@dataclass(frozen=True, slots=True)
class Dot:
    """One unit: its key, where it stands in the unit shown, and whether it is in the quarter."""

    key: str
    value: float
    high: bool


@dataclass(frozen=True, slots=True)
class Row:
    """One row of dots under its words; ``kind`` is ``with``, ``without`` or ``unknown``."""

    label: str
    kind: str
    dots: tuple[Dot, ...]

    @property
    def mean(self) -> float | None:
        """Mean of the row, None where it is not compared."""
        if not self.dots or self.kind == "unknown":
            return None
        return sum(dot.value for dot in self.dots) / len(self.dots)


def dots(rows: Sequence[Row], unit: str, width: int, size: float = 13.0) -> Figure:
    """Draw rows of dots on one scale.

    Args:
        rows: at least one dot in all.
        unit: written beside the scale.
        width: in points.
        size: of a dot, in points.
    """
    values = [dot.value for row in rows for dot in row.dots]
    ticks = round_ticks(min(values), max(values), 7 if width > 500 else 4)
    low, high = ticks[0], ticks[-1]
    inner = width - 2 * 16
    pace = (high - low) / inner
    stacks = [levels([dot.value for dot in row.dots], size * 1.06 * pace) for row in rows]
    rises = [min(size * 1.06, TALLEST / (max(stack, default=0) + 1)) for stack in stacks]
    heights = [
        30 + size * 1.06 + rise * max(stack, default=0)
        for stack, rise in zip(stacks, rises, strict=True)
    ]
    total = sum(heights) + 46
    with drawing():
        figure = sheet(width, total)
        box = axes(figure, 16, 4, inner, sum(heights))
        box.set(xlim=(low, high), ylim=(sum(heights), 0), yticks=[])
        box.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
        for tick in ticks:
            box.axvline(tick, color=LINE, lw=0.8, zorder=0)
        figure.text(0.5, 8 / total, unit, ha="center", fontsize=13, color=SOFT)
        base = 0.0
        for row, stack, height, rise in zip(rows, stacks, heights, rises, strict=True):
            base += height
            places = [base - size * 0.62 - rise * level for level in stack]
            _row(box, row, places, base, height, size, low)
        return figure


def _row(
    box: Axes,
    row: Row,
    places: Sequence[float],
    base: float,
    height: float,
    size: float,
    left: float,
) -> None:
    box.text(
        left,
        base - height + 18,
        row.label,
        fontsize=14,
        color=INK,
        va="baseline",
        zorder=3,
        bbox=LABEL,
    )
    box.plot(box.get_xlim(), [base, base], color=SOFT, lw=1, zorder=1)
    if row.mean is not None:
        box.plot([row.mean] * 2, [base, base - height + 26], color=INK, lw=2.4, zorder=5)
    for dot, place in zip(row.dots, places, strict=True):
        colour = TWO if dot.high else ONE
        face = colour if row.kind == "with" else PAPER
        edge = SOFT if row.kind == "unknown" else colour
        points = size * (0.72 if dot.high else 0.88)
        _mark(box, (dot.value, place), dot, ms=points, mfc=face, mec=edge, mew=1.6)


def _mark(box: Axes, at: tuple[float, float], unit: Dot | Point, **look: Any) -> None:
    """Draw the mark of a unit, which a page can reach by its key."""
    shape, key = "D" if unit.high else "o", f"{MARK}{unit.key}"
    box.plot(*([one] for one in at), shape, gid=key, zorder=4, clip_on=False, **look)


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
        box.set(xlim=(across[0], across[-1]), ylim=(up[0], up[-1]))
        box.set_xticks(across, [f"{tick:g}" for tick in across])
        box.set_yticks(up, [f"{tick:g}" for tick in up])
        for tick in up:
            box.axhline(tick, color=LINE, lw=0.8, zorder=0)
        box.fill_between(x, low, high, color=LINE, lw=0, zorder=1)
        box.plot(x, y, color=INK, lw=2.4, zorder=2)
        for point in points:
            colour, diameter = TWO if point.high else ONE, size * (0.8 if point.high else 0.95)
            place = (point.amount, point.value)
            _mark(box, place, point, ms=diameter, mfc=colour, mec=colour, mew=1.2)
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


Groups = tuple[tuple[float, ...], tuple[float, ...]]


def lineup(panels: Sequence[Groups], width: int, columns: int) -> Figure:
    """Draw each panel as two rows of small dots, with above without, numbered from 1.

    Args:
        panels: values with and values without, in the unit shown.
        width: in points.
        columns: panels side by side.
    """
    values = [value for panel in panels for group in panel for value in group]
    low, high = min(values), max(values)
    pad = (high - low) * 0.04 or 1.0
    wide = width / columns
    tall = 102.0
    lines = -(-len(panels) // columns)
    with drawing():
        figure = sheet(width, tall * lines)
        for at, groups in enumerate(panels):
            left, top = (at % columns) * wide, (at // columns) * tall
            box = axes(figure, left + 6, top + 2, wide - 12, tall - 8)
            box.set(xlim=(low - pad, high + pad), ylim=(96, 2), xticks=[], yticks=[])
            box.text(low, 13, str(at + 1), fontsize=12, color=SOFT)
            size = 5.6
            pace = (high - low + 2 * pad) / (wide - 12)
            for group, base, face in ((groups[0], 48, ONE), (groups[1], 92, PAPER)):
                box.plot([low - pad, high + pad], [base, base], color=LINE, lw=1)
                height = [min(level, 7) for level in levels(group, size * 1.02 * pace)]
                box.plot(
                    group,
                    [base - size * (0.7 + 1.02 * level) for level in height],
                    "o",
                    ms=size * 0.8,
                    mfc=face,
                    mec=ONE,
                    mew=0.9,
                    ls="",
                )
                if group:
                    mean = sum(group) / len(group)
                    box.plot([mean, mean], [base + 3, base - 32], color=INK, lw=1.4)
        return figure
