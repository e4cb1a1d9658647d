"""A difference with its interval, against what is too small to matter and the usual variation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from miner.render.figures.paper import (
    INK,
    LABEL,
    LINE,
    ONE,
    SOFT,
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


def reach(lengths: Sequence[tuple[str, float, str]], width: int) -> Figure:
    """Draw lengths under each other, each with its words and its number.

    Args:
        lengths: words, length, and the length as told; at least one.
        width: in points.
    """
    longest = max(length for _, length, _ in lengths)
    height = 52 * len(lengths) + 6
    with drawing():
        figure = sheet(width, height)
        box = axes(figure, 4, 2, width - 8, height - 4)
        box.set(xlim=(0, longest * 1.3), ylim=(52 * len(lengths), 0), xticks=[], yticks=[])
        for at, (label, length, told) in enumerate(lengths):
            line = 52 * at + 38
            box.text(0, line - 14, label, fontsize=14, color=INK, va="baseline")
            box.plot([0, length], [line, line], color=ONE, lw=3.4, solid_capstyle="butt")
            for end in (0, length):
                box.plot([end, end], [line - 7, line + 7], color=ONE, lw=2.2)
            box.text(
                length + longest * 0.02, line + 5, told, fontsize=14, color=SOFT, va="baseline"
            )
        return figure


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
