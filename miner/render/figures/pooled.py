"""A pooled difference with its interval, and each client's own above it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from miner.render.figures.paper import INK, LINE, ONE, SOFT, axes, drawing, sheet
from miner.render.figures.scales import levels, round_ticks

if TYPE_CHECKING:
    from matplotlib.figure import Figure

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
    ticks = [tick for tick in round_ticks(low, high, 8 if width > 500 else 5)
             if low <= tick <= high]  # fmt: skip
    height = top + 90
    with drawing():
        figure = sheet(width, height)
        box = axes(figure, 16, 4, width - 32, top + 40)
        box.set_xlim(low, high)
        box.set_ylim(top + 40, 0)
        box.set_yticks([])
        box.set_xticks(ticks, [f"{tick:+g}" if tick else "0" for tick in ticks])
        box.axvspan(-found.worth_it, found.worth_it, color=LINE, alpha=0.35, lw=0)
        box.plot([0, 0], [0, top + 40], color=SOFT, lw=1.2, zorder=1)
        places = [top - 8 - STEP * min(level, MOST_LEVELS) for level in above]
        box.plot(found.clients, places, "o", ms=8, color="none", mec=INK, mew=1.4, zorder=3)
        line = top + 20
        box.plot(found.interval, [line, line], color=ONE, lw=3.4, solid_capstyle="butt", zorder=3)
        for end in found.interval:
            box.plot([end, end], [line - 8, line + 8], color=ONE, lw=2.2, zorder=3)
        box.plot([found.value], [line], "o", ms=13, color=ONE, mew=0, zorder=4)
        figure.text(0.5, 8 / height, f"difference, {found.unit}", ha="center", fontsize=13,
                    color=SOFT)  # fmt: skip
        return figure
