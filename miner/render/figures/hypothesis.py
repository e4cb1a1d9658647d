"""What is drawn of one question: its difference, every unit behind it, its dots among imitations.

Source: Buja et al. 2009, Phil Trans R Soc A 367:4361 (the line-up protocol).
"""

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


@dataclass(frozen=True, slots=True)
class Difference:
    """A difference in the unit shown; what is not known is None.

    Attributes:
        each: what that of a dose is for, like "each hour less sleep".
    """

    value: float
    interval: tuple[float, float] | None
    worth_it: float
    unit_sd: float | None
    unit: str
    each: str = ""


def difference(found: Difference, width: int) -> Figure:
    """Draw one difference on a line with 0 in the middle.

    Args:
        found: the numbers.
        width: in points.
    """
    ends = [abs(end) for end in found.interval or ()]
    reach = max([abs(found.value), found.worth_it * 1.5, found.unit_sd or 0.0, *ends]) * 1.08
    words = f"difference, {found.unit}" + (f"\nfor {found.each}" if found.each else "")
    height = 164 if found.each else 146
    with drawing():
        figure = sheet(width, height)
        box = axes(figure, 16, 4, width - 32, 100)
        _scale(box, (-reach, reach), 100, width)
        _bracket(box, found.worth_it, 90, "too small to matter")
        if found.unit_sd is not None:
            _bracket(box, found.unit_sd, 56, "usual variation")
        _estimate(box, found.value, found.interval, 20)
        figure.text(0.5, 8 / height, words, ha="center", fontsize=13, color=SOFT)
        return figure


def _scale(box: Axes, ends: tuple[float, float], height: float, width: int) -> None:
    """Set up a line of differences with their signs and a mark at 0."""
    low, high = ends
    ticks = [
        tick for tick in round_ticks(low, high, 8 if width > 500 else 5) if low <= tick <= high
    ]
    box.set(xlim=ends, ylim=(height, 0), yticks=[])
    box.set_xticks(ticks, [f"{tick:+g}" if tick else "0" for tick in ticks])
    box.plot([0, 0], [0, height], color=SOFT, lw=1.2, zorder=1)


def _estimate(box: Axes, value: float, interval: tuple[float, float] | None, line: float) -> None:
    """Draw a value on a line with the bar of its interval."""
    if interval is not None:
        box.plot(interval, [line, line], color=ONE, lw=3.4, solid_capstyle="butt", zorder=3)
        for end in interval:
            box.plot([end, end], [line - 8, line + 8], color=ONE, lw=2.2, zorder=3)
    box.plot([value], [line], "o", ms=13, color=ONE, mew=0, zorder=4)


def _bracket(box: Axes, half: float, at: float, label: str) -> None:
    box.plot([-half, half], [at, at], color=LINE, lw=9, solid_capstyle="butt", zorder=2)
    for end in (-half, half):
        box.plot([end, end], [at - 6, at + 6], color=INK, lw=1.4, zorder=3)
    box.text(
        0, at - 11, label, fontsize=13, color=INK, ha="center", va="baseline", bbox=LABEL, zorder=2
    )


STEP, MOST_LEVELS = 13, 8


@dataclass(frozen=True, slots=True)
class PooledNumbers:
    """A pooled difference, its interval, and those of the clients, in the unit shown."""

    value: float
    interval: tuple[float, float]
    clients: Sequence[float]
    worth_it: float
    unit: str


def pooled(found: PooledNumbers, width: int) -> Figure:
    """Draw one pooled difference on a line with 0 in it, a mark a client above.

    Args:
        found: the numbers.
        width: in points.
    """
    marks = [*found.clients, *found.interval, -found.worth_it, found.worth_it]
    low, high = min(marks), max(marks)
    low, high = low - 0.06 * (high - low), high + 0.06 * (high - low)
    wide = (width - 32) / (high - low)
    above = levels([value * wide for value in found.clients], 11)
    top = STEP * min(max(above, default=0), MOST_LEVELS) + 16
    height = top + 90
    with drawing():
        figure = sheet(width, height)
        box = axes(figure, 16, 4, width - 32, top + 40)
        box.axvspan(-found.worth_it, found.worth_it, color=LINE, alpha=0.35, lw=0)
        _scale(box, (low, high), top + 40, width)
        places = [top - 8 - STEP * min(level, MOST_LEVELS) for level in above]
        box.plot(found.clients, places, "o", ms=8, color="none", mec=INK, mew=1.4, zorder=3)
        _estimate(box, found.value, found.interval, top + 20)
        figure.text(
            0.5, 8 / height, f"difference, {found.unit}", ha="center", fontsize=13, color=SOFT
        )
        return figure


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
