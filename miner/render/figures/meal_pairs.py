"""Similar meals with and without one habit: paired dots, and the curves from the meal on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from miner.core.results.meals import MealComparison, MealSide
from miner.render.figures.paper import INK, LINE, ONE, SOFT, TWO, axes, drawing, sheet
from miner.words.amounts import MG_DL_PER_MMOL_L
from miner.words.safe import clean

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH, PANEL, NARROW = 720, 266, 350
LEGEND_LINE = 24
LONGEST_NAME = 45
SAMPLE = 34
"""Length of the piece of line beside a name, in points: three whole dashes."""
WITH, WITHOUT = ("with it", ONE, "-"), ("without it", TWO, "--")
GRID_STEP_MIN = 5.0
GRID_MIN = np.arange(-15.0, 121.0, GRID_STEP_MIN)
LARGEST_GAP_MIN = 30.0
SHARE_REACHED = 0.5


def meal_pairs(
    found: MealComparison,
    label: str,
    sides: tuple[str, str],
    display_unit: str = "mg/dL",
    *,
    wide: bool = True,
) -> Figure:
    """Draw the pairs of a comparison: a line a pair at the left, the curves at the right.

    What is with and what is without stands above both, where no curve is.

    Args:
        found: with at least one pair.
        label: the outcome in words.
        sides: the meals with the habit and those without, in words.
        display_unit: ``mg/dL`` or ``mmol/L``.
        wide: side by side; else the curves below the pairs.
    """
    glucose = found.unit.startswith("mg/dL")
    per = 1 / MG_DL_PER_MMOL_L if display_unit == "mmol/L" else 1.0
    unit = found.unit.replace("mg/dL", display_unit)
    width = WIDTH if wide else NARROW
    lines = 1 if wide else 2
    top = LEGEND_LINE * lines + 10
    with drawing():
        figure = sheet(width, top + PANEL * lines)
        _legend(axes(figure, 0, 0, width, LEGEND_LINE * lines), sides, wide)
        right = (340, top + 24, 365, 190) if wide else (50, top + PANEL + 24, NARROW - 65, 190)
        left = axes(figure, 60 if wide else 50, top + 24, 220, 190)
        _dots(left, found, per if glucose else 1.0, f"{label}, {unit}")
        _curves(axes(figure, *right), found, per, display_unit)
    return figure


def _legend(place: Axes, sides: tuple[str, str], wide: bool) -> None:
    """Name both sides, each beside a piece of its line with a dot on it."""
    across, lines = (WIDTH, 1) if wide else (NARROW, 2)
    place.set(xlim=(0, across), ylim=(LEGEND_LINE * lines, 0), xticks=[], yticks=[])
    for row, ((name, colour, style), words) in enumerate(zip((WITH, WITHOUT), sides, strict=True)):
        left = 8 + row * wide * WIDTH / 2
        middle = (0.5 + row * (not wide)) * LEGEND_LINE
        place.plot(
            [left, left + SAMPLE], [middle] * 2, color=colour, linewidth=2.4, linestyle=style
        )
        place.plot([left + SAMPLE / 2], [middle], "o", color=colour, markersize=6.5)
        text = clean(f"{name}: {words}", LONGEST_NAME)
        place.text(left + SAMPLE + 7, middle, text, color=INK, size=13, va="center_baseline")


def _dots(place: Axes, found: MealComparison, scale: float, title: str) -> None:
    for pair in found.pairs:
        values = [pair.without.value * scale, pair.with_.value * scale]
        place.plot([0, 1], values, color=LINE, linewidth=1.2, zorder=1)
        place.scatter([0], values[:1], s=46, color=TWO, zorder=2)
        place.scatter([1], values[1:], s=46, color=ONE, zorder=2)
    place.set_xlim(-0.35, 1.35)
    place.set_xticks([0, 1], [WITHOUT[0], WITH[0]])
    place.set_title(title, loc="left", color=INK, size=14)
    place.grid(axis="y", color=LINE, linewidth=0.6)


def _curves(place: Axes, found: MealComparison, scale: float, display_unit: str) -> None:
    sides = (
        ([pair.without for pair in found.pairs], WITHOUT),
        ([pair.with_ for pair in found.pairs], WITH),
    )
    for meals, (_, colour, style) in sides:
        drawn = [curve for meal in meals if (curve := _on_grid(meal)) is not None]
        for curve in drawn:
            place.plot(GRID_MIN, curve * scale, color=colour, linewidth=0.7, alpha=0.35)
        if drawn:
            place.plot(
                GRID_MIN, _middle(drawn) * scale, color=colour, linewidth=2.4, linestyle=style
            )
    if not place.lines:
        place.set_yticks([])
        place.text(
            0.5,
            0.5,
            "no curve was recorded whole",
            transform=place.transAxes,
            color=SOFT,
            size=13,
            ha="center",
        )
    place.axvline(0, color=SOFT, linewidth=0.8)
    place.set_xticks([0, 30, 60, 90, 120])
    place.set_xlabel("minutes after the meal began", color=SOFT, size=13)
    place.set_title(f"above the level before, {display_unit}", loc="left", color=INK, size=14)
    place.grid(axis="y", color=LINE, linewidth=0.6)


def _on_grid(meal: MealSide) -> np.ndarray | None:
    """Return the curve every five minutes, or nothing where a part of it was not recorded.

    Beyond its first and last reading it is NaN: these lie less than one reading from the ends.
    """
    if len(meal.curve) < 2:
        return None
    at, above = np.array(meal.curve, dtype=np.float64).T
    apart = np.diff(at)
    step = max(GRID_STEP_MIN, float(np.median(apart)))
    reaches = at[0] <= GRID_MIN[0] + step and at[-1] >= GRID_MIN[-1] - step
    if not reaches or apart.max() > LARGEST_GAP_MIN:
        return None
    drawn: np.ndarray = np.interp(GRID_MIN, at, above, left=np.nan, right=np.nan)
    return drawn


def _middle(curves: list[np.ndarray]) -> np.ndarray:
    """Return the median of curves at each minute that at least half of them reach.

    Fewer would be other meals than those before, and the line would jump where none of them did.
    """
    stack = np.stack(curves)
    known = (~np.isnan(stack)).mean(axis=0) >= SHARE_REACHED
    found = np.full(stack.shape[1], np.nan)
    found[known] = np.nanmedian(stack[:, known], axis=0)
    return found
