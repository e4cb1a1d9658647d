"""The recorded dots among imitations in which nothing is true: what luck looks like.

Source: Buja et al. 2009, Phil Trans R Soc A 367:4361 (the line-up protocol).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from miner.render.figures.paper import INK, LINE, ONE, PAPER, SOFT, axes, drawing, levels, sheet

if TYPE_CHECKING:
    from matplotlib.figure import Figure

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
            box.set_xlim(low - pad, high + pad)
            box.set_ylim(96, 2)
            box.set_xticks([])
            box.set_yticks([])
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
