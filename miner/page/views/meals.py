"""The meals in a table, and meals that come back, side by side with and without one habit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import quote

from markupsafe import Markup
from starlette.responses import Response

from miner import steps
from miner.core.messages import MinerError, message
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
from miner.words.meals import comparison_parts, meals_parts
from miner.words.sentences import factor_phrase

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
        meals_parts(name_of(entry, request), table, entry.words, steps.repeats(table), entry.unit)
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
        factors=[(name, factor_phrase(name, entry.words, "meal")) for name in table.factors],
    )


def compare(request: PageRequest) -> Response:
    """Put similar meals with and without a habit side by side; it is written down as a look."""
    folder, state, results = request.folder, request.state, request.results
    factor = request.text("factor")[:80]
    if not factor:
        raise MinerError("page.no_habit_chosen")

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
        f"compare {factor}", message("page.job_compare"), request.at("meals"), work
    )


def _shown(request: PageRequest, entry: ClientEntry, found: MealComparison) -> _Shown:
    def draw() -> tuple[Drawn | None, Styles]:
        styles = Styles()
        if not found.pairs:
            return None, styles
        label = entry.words.outcome(found.outcome, "meal").label
        habit = entry.rules.factor(found.factor, "meal")
        words = (habit.with_many, habit.without_many)
        told = str(message("page.picture_of_pairs", outcome=label.capitalize()))
        with DRAWING:
            sides = [
                _figure(meal_pairs(found, label, words, entry.unit, wide=wide), name, told, styles)
                for wide, name in ((True, "pairs-w"), (False, "pairs-n"))
            ]
        return Drawn(*sides), styles

    drawn, styles = request.state.meal_figures.get((request.code, found.factor), found, draw)
    parts = comparison_parts(found, entry.words, entry.unit)
    return _Shown(list(parts), list(Cautions(entry.report().cautions).last()), drawn, styles)


def _figure(drawn: Figure, name: str, label: str, styles: Styles) -> Markup:
    told = inline(as_svg(drawn), name, label, {}, styles)
    return Markup(told)  # noqa: S704 - our own figure
