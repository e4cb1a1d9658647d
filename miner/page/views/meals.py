"""The meals in a table, and meals that come back, side by side with and without one habit."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote

from markupsafe import Markup
from starlette.responses import Response

from miner import steps
from miner.core.errors import MinerError
from miner.core.results.meals import MealComparison
from miner.page.asked import Asked
from miner.page.jobs import Progress
from miner.page.render import DRAWING, page
from miner.page.shelf import Entry
from miner.page.views.client import before, name_of
from miner.render.drawn import Drawn
from miner.render.figures.inline import Styles, inline
from miner.render.figures.meal_pairs import meal_pairs
from miner.render.figures.paper import as_svg
from miner.words.cautions import Cautions
from miner.words.labels import factor_phrase
from miner.words.meals import comparison_parts, meals_parts
from miner.words.said_of import of_client


@dataclass(frozen=True, slots=True)
class _Shown:
    """A comparison as a page shows it."""

    parts: list[object]
    beside: list[object]
    drawn: Drawn | None
    styles: Styles


def show(asked: Asked) -> Response:
    """Show the meals, and the comparison that was asked for before."""
    entry, factor = asked.entry(), asked.text("compare")
    table = entry.meals()
    asked.shown(entry, "meal", sorted(set(table.frame["date"].astype(str))))
    held = asked.desk.found.get((asked.code, f"compare {factor}"))
    shown = None
    if isinstance(held, tuple) and held[0] == entry.key:
        shown = _shown(asked, entry, held[1])
    parts = meals_parts(
        name_of(entry, asked), table, entry.rules, steps.repeats(table), entry.unit
    ) if len(table.frame) else []  # fmt: skip
    return page(
        asked, "meals.html", styles=shown.styles if shown else None, parts=parts, shown=shown,
        client=name_of(entry, asked), first=before(entry), factor=factor,
        factors=[(name, factor_phrase(name, entry.rules, "meal")) for name in table.factors],
    )  # fmt: skip


def compare(asked: Asked) -> Response:
    """Put similar meals with and without a habit side by side; it is written down as a look."""
    folder, desk, code, factor = asked.folder, asked.desk, asked.code, asked.text("factor")[:80]
    if not factor:
        raise MinerError("no habit was chosen", "a habit by meal", "Choose one.")

    to = f"{asked.at('meals')}?compare={quote(factor, safe='')}"

    def work(_progress: Progress) -> str:
        entry = desk.shelf.entry(folder)
        found = steps.compare_meals(
            entry.client, factor, entry.rules, table=entry.meals(), remember=True
        )
        _shown(asked, entry, found)
        desk.found[(code, f"compare {factor}")] = (entry.key, found)
        return to

    return asked.later(f"compare {factor}", "Putting meals side by side", asked.at("meals"), work)


def _shown(asked: Asked, entry: Entry, found: MealComparison) -> _Shown:
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
                Markup(of_client(inline(  # noqa: S704 - our own figure
                    as_svg(meal_pairs(found, label, words, entry.unit, wide=wide)), name, told, {},
                    styles,
                )))
                for wide, name in ((True, "pairs-w"), (False, "pairs-n"))
            ]  # fmt: skip
        return Drawn(*sides), styles

    drawn, styles = asked.desk.drawn((asked.code, f"pairs {found.factor}"), found, draw)
    parts = comparison_parts(found, entry.rules, entry.unit)
    return _Shown(list(parts), list(Cautions(entry.report().cautions).last()), drawn, styles)
