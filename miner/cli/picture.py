"""Writes one picture where it was asked for: SVG, PNG, or a page that holds it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from miner.cli.brief import require_folder
from miner.cli.output import complain
from miner.core.errors import MinerError
from miner.core.files import write_whole

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FORMS = (".svg", ".png", ".html")


def require_form(out: Path) -> None:
    """Check that a picture can be written under this name.

    Raises:
        MinerError: its ending is not one of a picture, or there is no such folder.
    """
    if out.suffix.lower() not in FORMS:
        raise MinerError(
            f"--out {out.name} does not end in the name of a form",
            f"one of {', '.join(FORMS)}",
            "Give the file one of these endings.",
        )
    require_folder(out)


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
    complain(f"Written: {out}")


def _page(figure: Figure, narrow: Figure | None, title: str, lines: Sequence[str]) -> str:
    from markupsafe import Markup

    from miner.render.figures.inline import Styles, inline
    from miner.render.figures.paper import as_svg
    from miner.render.papers.page import fill
    from miner.words.safe import clean

    styles, title = Styles(), clean(title)
    wide, small = (
        None if one is None else Markup(inline(as_svg(one), name, title, {}, styles))  # noqa: S704 - our own figure
        for name, one in (("wide", figure), ("narrow", narrow))
    )
    told = [clean(line, 2000) for line in lines]
    return fill("picture.html", styles, title=title, wide=wide, narrow=small, lines=told)
