"""A difference with its interval, against what is too small to matter and the ordinary wobble."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from miner.render.figures.paper import INK, LABEL, LINE, ONE, SOFT, axes, drawing, sheet
from miner.render.figures.scales import round_ticks

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
    wobble: float | None
    unit: str
    each: str = ""


def difference(found: Difference, width: int) -> Figure:
    """Draw one difference on a line with 0 in the middle.

    Args:
        found: the numbers.
        width: in points.
    """
    ends = [abs(end) for end in found.interval or ()]
    reach = max([abs(found.value), found.worth_it * 1.5, found.wobble or 0.0, *ends]) * 1.08
    ticks = [tick for tick in round_ticks(-reach, reach, 8 if width > 500 else 5)
             if abs(tick) <= reach]  # fmt: skip
    words = f"difference, {found.unit}" + (f"\nfor {found.each}" if found.each else "")
    height = 164 if found.each else 146
    with drawing():
        figure = sheet(width, height)
        box = axes(figure, 16, 4, width - 32, 100)
        box.set_xlim(-reach, reach)
        box.set_ylim(100, 0)
        box.set_yticks([])
        box.set_xticks(ticks, [f"{tick:+g}" if tick else "0" for tick in ticks])
        box.plot([0, 0], [0, 100], color=SOFT, lw=1.2, zorder=1)
        worth = found.worth_it
        _bracket(box, worth, 90, "too small to matter")
        if found.wobble is not None:
            _bracket(box, found.wobble, 56, "ordinary wobble")
        if found.interval is not None:
            box.plot(found.interval, [20, 20], color=ONE, lw=3.4, solid_capstyle="butt", zorder=3)
            for end in found.interval:
                box.plot([end, end], [12, 28], color=ONE, lw=2.2, zorder=3)
        box.plot([found.value], [20], "o", ms=13, color=ONE, mew=0, zorder=4)
        figure.text(0.5, 8 / height, words, ha="center", fontsize=13, color=SOFT)
        return figure


def _bracket(box: Axes, half: float, at: float, label: str) -> None:
    box.plot([-half, half], [at, at], color=LINE, lw=9, solid_capstyle="butt", zorder=2)
    for end in (-half, half):
        box.plot([end, end], [at - 6, at + 6], color=INK, lw=1.4, zorder=3)
    box.text(0, at - 11, label, fontsize=13, color=INK, ha="center", va="baseline",
             bbox=LABEL, zorder=2)  # fmt: skip
