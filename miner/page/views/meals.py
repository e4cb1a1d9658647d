"""The meals in a table, and meals that come back, side by side with and without one habit."""

from __future__ import annotations

from functools import partial
from urllib.parse import quote

from starlette.responses import Response

from miner import steps
from miner.core.messages import MinerError, message
from miner.core.results.meals import MealComparison
from miner.page.client_cache import ClientEntry
from miner.page.jobs import Progress
from miner.page.render import figure, headed, page
from miner.page.request import PageRequest
from miner.page.state import made_of
from miner.render.drawn import Drawn
from miner.render.figures.inline import Styles
from miner.render.figures.meal_pairs import meal_pairs
from miner.words.cautions import CautionBlocks
from miner.words.meals import comparison_parts, meals_parts
from miner.words.sentences import factor_phrase


def show(request: PageRequest) -> Response:
    """Show the meals, and the comparison that was asked for before."""
    entry, factor = request.entry(), request.text("compare")
    table = entry.meals()
    request.shown(entry, "meal", sorted(set(table.frame["date"].astype(str))))
    found, shown, styles = made_of(request.results.comparisons.get(factor), entry.key), None, None
    if found is not None:
        drawn, styles = _drawn(request, entry, found)
        shown = {
            "parts": comparison_parts(found, entry.words, entry.unit),
            "drawn": drawn,
            "beside": CautionBlocks(entry.report().cautions).last(),
        }
    name, repeats = request.client_name, steps.repeats(table)
    parts = meals_parts(name, table, entry.words, repeats, entry.unit) if len(table.frame) else []
    title, rest = headed(parts)
    return page(
        request,
        "meals.html",
        styles=styles,
        heading=title or message("page.no_meals"),
        parts=rest,
        shown=shown,
        factor=factor,
        factors=[(name, factor_phrase(name, entry.words, "meal")) for name in table.factors],
    )


def compare(request: PageRequest) -> Response:
    """Put similar meals with and without a habit side by side; it is written down as a look."""
    factor = request.text("factor")[:80]
    if not factor:
        raise MinerError("page.no_habit_chosen")

    def work(_: Progress) -> None:
        entry = request.entry()
        found = steps.compare_meals(
            entry.client, factor, entry.rules, table=entry.meals(), remember=True
        )
        _drawn(request, entry, found)
        request.results.comparisons[factor] = (entry.key, found)

    back = request.at("meals")
    to = f"{back}?compare={quote(factor, safe='')}"
    return request.later(f"compare {factor}", message("page.job_compare"), work, to, back)


def _drawn(
    request: PageRequest, entry: ClientEntry, found: MealComparison
) -> tuple[Drawn | None, Styles]:
    def draw(styles: Styles) -> Drawn | None:
        if not found.pairs:
            return None
        label = entry.words.outcome(found.outcome, "meal").label
        habit = entry.rules.factor(found.factor, "meal")
        words = (habit.with_many, habit.without_many)
        told = str(message("page.picture_of_pairs", outcome=label.capitalize()))
        pairs = partial(meal_pairs, found, label, words, entry.unit)
        wide = figure(partial(pairs, wide=True), "pairs-w", told, styles)
        return Drawn(wide, figure(partial(pairs, wide=False), "pairs-n", told, styles))

    return request.state.meal_figures.get((request.code, found.factor), found, draw)
