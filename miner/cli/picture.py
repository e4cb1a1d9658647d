"""Writes one picture where it was asked for: SVG, PNG, or a page that holds it."""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from miner.cli.output import complain
from miner.errors import MinerError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FORMS = (".svg", ".png", ".html")
PAGE = """<!doctype html>
<html lang="en">
<head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>body{{background:#fbf9f3;color:#25231f;font-family:serif;max-width:60rem;margin:2rem auto;
padding:0 1rem}}svg{{width:100%;height:auto}}p{{line-height:1.5}}</style></head>
<body><h1>{title}</h1>
{svg}
{text}
</body></html>
"""


def require_form(out: Path) -> None:
    """Check that a picture can be written under this name.

    Raises:
        MinerError: its ending is not one of a picture.
    """
    if out.suffix.lower() not in FORMS:
        raise MinerError(
            f"--out {out.name} does not end in the name of a form",
            f"one of {', '.join(FORMS)}",
            "Give the file one of these endings.",
        )


def write_picture(figure: Figure, out: Path, title: str, lines: tuple[str, ...] = ()) -> None:
    """Write a figure as SVG or PNG, or as a page with a title and lines of text."""
    from miner.brief.figures.paper import as_png, as_svg
    from miner.brief.text.safe import clean

    form = out.suffix.lower()
    if form == ".png":
        out.write_bytes(as_png(figure))
    else:
        svg = as_svg(figure)
        if form == ".html":
            svg = svg[svg.index("<svg") :]
            text = "\n".join(f"<p>{escape(clean(line, 2000))}</p>" for line in lines)
            svg = PAGE.format(title=escape(clean(title)), svg=svg, text=text)
        out.write_text(svg, encoding="utf-8", newline="\n")
    complain(f"Written: {out}")
