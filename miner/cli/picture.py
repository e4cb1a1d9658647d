"""Writes one picture where it was asked for: SVG, PNG, or a page that holds it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from miner.cli.output import say
from miner.core.files import write_whole

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FORMS = (".svg", ".png", ".html")


def write_picture(
    figure: Figure, out: Path, title: str, lines: Sequence[str] = (), narrow: Figure | None = None
) -> None:
    """Write a figure as SVG or PNG, or as a page with a title and lines of text.

    Args:
        figure: what is drawn.
        out: the file; its ending says which form.
        title: what the picture shows.
        lines: the text of the page.
        narrow: the same for a narrow screen, for a page; without it the page is moved sideways.
    """
    from miner.render.figures.paper import as_png, as_svg

    form = out.suffix.lower()
    if form == ".png":
        write_whole(out, as_png(figure))
    else:
        text = as_svg(figure) if form == ".svg" else _page(figure, narrow, title, lines)
        write_whole(out, text)
    say("cli.written", path=out)


def _page(figure: Figure, narrow: Figure | None, title: str, lines: Sequence[str]) -> str:
    from miner.render.figures.inline import Styles, inline
    from miner.render.figures.paper import as_svg
    from miner.render.pages import fill
    from miner.words.safe import clean

    styles, title = Styles(), clean(title)
    wide, small = (
        None if one is None else inline(as_svg(one), name, title, {}, styles)
        for name, one in (("wide", figure), ("narrow", narrow))
    )
    told = [clean(line, 2000) for line in lines]
    return fill("picture.html", styles, title=title, wide=wide, narrow=small, lines=told)
