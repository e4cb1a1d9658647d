"""How large a difference this record could have shown, beside what is worth acting on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from miner.render.figures.paper import INK, ONE, SOFT, axes, drawing, sheet

if TYPE_CHECKING:
    from matplotlib.figure import Figure


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
        box.set_xlim(0, longest * 1.3)
        box.set_ylim(52 * len(lengths), 0)
        box.set_xticks([])
        box.set_yticks([])
        for at, (label, length, told) in enumerate(lengths):
            line = 52 * at + 38
            box.text(0, line - 14, label, fontsize=14, color=INK, va="baseline")
            box.plot([0, length], [line, line], color=ONE, lw=3.4, solid_capstyle="butt")
            for end in (0, length):
                box.plot([end, end], [line - 7, line + 7], color=ONE, lw=2.2)
            box.text(
                length + longest * 0.02, line + 5, told, fontsize=14, color=SOFT, va="baseline",
            )  # fmt: skip
        return figure
