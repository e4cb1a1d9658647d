"""The meals in a table, and meals that come back, side by side with and without one habit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import quote

from markupsafe import Markup
from starlette.responses import Response

from miner import steps
from miner.core.errors import MinerError
from miner.core.results.meals import MealComparison
from miner.page.client_cache import ClientEntry
from miner.page.jobs import Progress
from miner.page.render import DRAWING, page
from miner.page.request import PageRequest
from miner.page.state import made_of
from miner.page.views.client import before, name_of
from miner.render.drawn import Drawn
from miner.render.figures.inline import Styles, inline
from miner.render.figures.meal_pairs import meal_pairs
from miner.render.figures.paper import as_svg
from miner.words.cautions import Cautions
from miner.words.labels import factor_phrase
from miner.words.meals import comparison_parts, meals_parts
from miner.words.said_of import of_client

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True, slots=True)
class _Shown:
    """A comparison as a page shows it."""

    parts: list[object]
    beside: list[object]
    drawn: Drawn | None
    styles: Styles


def show(request: PageRequest) -> Response:
    """Show the meals, and the comparison that was asked for before."""
    entry, factor = request.entry(), request.text("compare")
    table = entry.meals()
    request.shown(entry, "meal", sorted(set(table.frame["date"].astype(str))))
    held = made_of(request.results.comparisons.get(factor), entry.key)
    shown = None
    if held is not None:
        shown = _shown(request, entry, held)
    parts = (
        meals_parts(name_of(entry, request), table, entry.rules, steps.repeats(table), entry.unit)
        if len(table.frame)
        else []
    )
    return page(
        request,
        "meals.html",
        styles=shown.styles if shown else None,
        parts=parts,
        shown=shown,
        client=name_of(entry, request),
        first=before(entry),
        factor=factor,
        factors=[(name, factor_phrase(name, entry.rules, "meal")) for name in table.factors],
    )


def compare(request: PageRequest) -> Response:
    """Put similar meals with and without a habit side by side; it is written down as a look."""
    folder, state, results = request.folder, request.state, request.results
    factor = request.text("factor")[:80]
    if not factor:
        raise MinerError("no habit was chosen", "a habit by meal", "Choose one.")

    to = f"{request.at('meals')}?compare={quote(factor, safe='')}"

    def work(_progress: Progress) -> str:
        entry = state.clients.entry(folder)
        found = steps.compare_meals(
            entry.client, factor, entry.rules, table=entry.meals(), remember=True
        )
        _shown(request, entry, found)
        results.comparisons[factor] = (entry.key, found)
        return to

    return request.later(
        f"compare {factor}", "Putting meals side by side", request.at("meals"), work
    )


def _shown(request: PageRequest, entry: ClientEntry, found: MealComparison) -> _Shown:
    def draw() -> tuple[Drawn | None, Styles]:
        styles = Styles()
        if not found.pairs:
            return None, styles
        label = entry.rules.outcome(found.outcome, "meal").label
        habit = entry.rules.factor(found.factor, "meal")
        words = (habit.with_many, habit.without_many)
        told = f"{label.capitalize()} of similar meals without and with it, in pairs; their curves."
        with DRAWING:
            sides = [
                _figure(meal_pairs(found, label, words, entry.unit, wide=wide), name, told, styles)
                for wide, name in ((True, "pairs-w"), (False, "pairs-n"))
            ]
        return Drawn(*sides), styles

    drawn, styles = request.state.meal_figures.get((request.code, found.factor), found, draw)
    parts = comparison_parts(found, entry.rules, entry.unit)
    return _Shown(list(parts), list(Cautions(entry.report().cautions).last()), drawn, styles)


def _figure(drawn: Figure, name: str, label: str, styles: Styles) -> Markup:
    told = of_client(inline(as_svg(drawn), name, label, {}, styles))
    return Markup(told)  # noqa: S704 - our own figure
