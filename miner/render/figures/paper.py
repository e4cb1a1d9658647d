"""One sheet to draw on: sizes in points, a palette of names, no clutter."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO, StringIO
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
