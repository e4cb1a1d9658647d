"""Writes the figures of a client at print size, for those who make pages of their own."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from miner.core.files import make_folder, write_whole
from miner.core.results import Hypothesis
from miner.core.results.briefing import Briefing
from miner.render.drawn import WIDE, Studio, dot_size
from miner.render.figures.difference import difference
from miner.render.figures.dots import dots
from miner.render.figures.inline import Styles
from miner.render.figures.lineup import lineup
from miner.render.figures.meal_pairs import meal_pairs
from miner.render.figures.month import month
from miner.render.figures.paper import as_png, as_svg
from miner.rulebook import RuleBook
from miner.words.teller import Teller

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def write_figures(
    brief: Briefing, rules: RuleBook, include: Sequence[str], folder: Path
) -> list[Path]:
    """Write every figure as SVG and as PNG at 200 dots an inch; return the files.

    Args:
        brief: what is known of the client.
        rules: the rule books, for the words.
        include: the hypotheses chosen to be shown, by ID.
        folder: made where it is not there.

    Raises:
        OSError: the folder cannot be written.
    """
    make_folder(folder)
    studio = Studio(Teller(brief, rules, tuple(include)), Styles())
    written = []
    for name, figure in _figures(studio):
        for ending, content in ((".svg", as_svg(figure).encode()), (".png", as_png(figure))):
            path = folder / f"{name}{ending}"
            write_whole(path, content)
            written.append(path)
    return written


def _figures(studio: Studio) -> Iterator[tuple[str, Figure]]:
    teller = studio.teller
    if teller.brief.days:
        yield "days", month(teller.brief.days, teller.brief.display_unit, studio.month_width, 400)
    for one in teller.each():
        own = studio.of(one)
        for item in one.chosen():
            yield from _of_one(item, one, own)


def _of_one(item: Hypothesis, teller: Teller, studio: Studio) -> Iterator[tuple[str, Figure]]:
    rows, found = studio.rows(item), studio.numbers(item)
    label, pairs = teller.label(item), teller.brief.pairs.get(item.id)
    if any(row.dots for row in rows):
        unit = f"{label}, {teller.amounts.unit(item.unit)}"
        yield f"dots-{item.id}", dots(rows, unit, WIDE, dot_size(rows))
    if found is not None:
        yield f"difference-{item.id}", difference(found, WIDE)
    if pairs is not None:
        factor = teller.factors(item)[0]
        sides = (factor.with_many, factor.without_many)
        yield f"pairs-{item.id}", meal_pairs(pairs, label, sides, teller.brief.display_unit)
    if panels := studio.panels(item):
        yield f"lineup-{item.id}", lineup(panels, 1000, 5)
