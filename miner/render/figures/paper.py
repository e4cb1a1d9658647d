"""One sheet to draw on: sizes in points, a palette of names, no clutter."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from io import BytesIO, StringIO
from math import ceil, floor, log10
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


# What is drawn in these colours follows the page, light or dark, through a variable of that name.
PALETTE = {
    "paper": "#fbf9f3",
    "ink": "#25231f",
    "soft": "#625d52",
    "line": "#cfc8b8",
    "one": "#3b4a94",
    "two": "#8d4b07",
}
# The same names on a dark page.
DARK = {
    "paper": "#1c1b19",
    "ink": "#ece7dc",
    "soft": "#b3ac9d",
    "line": "#4b473f",
    "one": "#a9b5f2",
    "two": "#efb36d",
}
PAPER, INK, SOFT, LINE, ONE, TWO = PALETTE.values()

# Under words that lines would run through.
LABEL: Any = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.5}

_SETTINGS: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "miner",
    "text.parse_math": False,
    "font.size": 14,
    "axes.unicode_minus": True,
    "path.simplify": False,
}


@contextmanager
def drawing() -> Iterator[None]:
    """Draw with the settings of these pages; a letter no font here holds is no warning."""
    import matplotlib

    with matplotlib.rc_context(_SETTINGS), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        yield


def sheet(width: float, height: float) -> Figure:
    """Return an empty figure of so many points."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width / 72, height / 72), facecolor="none")


def axes(figure: Figure, left: float, top: float, width: float, height: float) -> Axes:
    """Return axes without any frame, placed in points from the upper left corner."""
    across, down = figure.get_size_inches() * 72
    box = (left / across, 1 - (top + height) / down, width / across, height / down)
    found = figure.add_axes(box)
    found.set_facecolor("none")
    for spine in found.spines.values():
        spine.set_visible(False)
    found.tick_params(length=0, colors=SOFT, labelsize=13)
    return found


def as_svg(figure: Figure) -> str:
    """Return the figure as SVG text, the same to the byte each time."""
    out = StringIO()
    with drawing():
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue()


def as_png(figure: Figure, dots_an_inch: int = 200) -> bytes:
    """Return the figure as a PNG on paper colour."""
    out = BytesIO()
    with drawing():
        figure.savefig(
            out, format="png", dpi=dots_an_inch, facecolor=PAPER, metadata={"Software": None}
        )
    return out.getvalue()


def round_step(span: float, most: int) -> float:
    """Return 1, 2 or 5 times a power of ten, so that at most so many steps fill the span."""
    if span <= 0:
        return 1.0
    rough = span / most
    power = 10.0 ** floor(log10(rough))
    return next(m * power for m in (1, 2, 5, 10) if m * power >= rough * (1 - 1e-9))


def round_ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Return round numbers from just below the lowest to just above the highest."""
    step = round_step(high - low, most)
    first, last = floor(low / step), ceil(high / step)
    return [round(step * k, 10) for k in range(first, max(last, first + 1) + 1)]


def levels(places: Sequence[float], width: float) -> list[int]:
    """Return for each place the lowest level at which nothing nearer than ``width`` stands."""
    found = [0] * len(places)
    taken: dict[int, float] = {}
    for at in sorted(range(len(places)), key=lambda k: (places[k], k)):
        level = 0
        while level in taken and places[at] - taken[level] < width * (1 - 1e-9):
            level += 1
        taken[level] = places[at]
        found[at] = level
    return found
