"""The overview of a practice: private, for the practitioner."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from miner.core.results import Evidence
from miner.core.results.caseload import Caseload, PooledEffect
from miner.render.drawn import NARROW, WIDE, Drawn
from miner.render.figures.difference import PooledNumbers, pooled
from miner.render.figures.inline import Styles, inline
from miner.render.figures.paper import as_svg
from miner.render.page import fill
from miner.rulebook import RuleBook
from miner.words.amounts import MG_DL_PER_MMOL_L, Amounts
from miner.words.practice import CaseloadTeller, first, named
from miner.words.safe import clean
from miner.words.sentences import evidence_words, habit_phrase, outcome_label

if TYPE_CHECKING:
    from matplotlib.figure import Figure

TOLD = (Evidence.CLEAR, Evidence.HINT)
MOST_DRAWN, MOST_ROWS, MOST_NAMED = 12, 400, 40


def caseload_page(found: Caseload, rules: RuleBook) -> str:
    """Return the overview as an HTML file that asks for nothing else.

    Args:
        found: what ``caseload`` found.
        rules: the rule books of the practice, for the words.
    """
    styles = Styles()
    teller = CaseloadTeller.of(found, rules)
    rows = sorted(found.clients, key=lambda row: row.status != "error")
    effects = [item for item in found.pooled if item.evidence in TOLD]
    return fill(
        "caseload.html",
        styles,
        practice=clean(found.practice, 80),
        lead=teller.lead(),
        agreement=teller.agreement(),
        eye=[(first(names, MOST_NAMED), text) for names, text in teller.eye()],
        luck=teller.luck(),
        clear_by_luck=teller.clear_by_luck(),
        questions=[teller.question_cells(item) for item in teller.questions()],
        rows=[teller.cells(row) for row in rows[:MOST_ROWS]],
        more=max(0, len(rows) - MOST_ROWS),
        unit=found.unit,
        effects=[_effect(item, teller, styles, at) for at, item in enumerate(effects)],
        numbers=[teller.numbers(item) for item in found.pooled],
        traces=[clean(text, 400) for text in found.traces],
        closing=teller.closing(),
    )


def _effect(item: PooledEffect, teller: CaseloadTeller, styles: Styles, at: int) -> dict[str, Any]:
    rules, unit = teller.rules, teller.found.unit
    waiting = [clean(row.client, 40) for row in item.by_client if row.suggestion]
    apart = [
        f"{clean(row.client, 40)} ({teller.amounts.difference(row.shrunken, item.unit)})"
        for row in item.by_client
        if row.differs
    ]
    label = outcome_label(item.outcome, rules, unit)
    title = f"{habit_phrase(item, rules, unit)}: {label}"
    return {
        "title": title[:1].upper() + title[1:],
        "evidence": evidence_words(item.evidence, rules),
        "told": teller.told(item),
        "waiting": named(waiting),
        "apart": named(apart),
        "drawn": _drawn(item, teller.amounts, styles, at) if at < MOST_DRAWN else None,
    }


def _drawn(item: PooledEffect, show: Amounts, styles: Styles, at: int) -> Drawn | None:
    if item.difference is None or item.interval is None:
        return None
    scale = 1.0 if show.unit(item.unit) == item.unit else 1 / MG_DL_PER_MMOL_L
    span = 1.0 if item.per is None else item.per.span
    numbers = PooledNumbers(
        value=scale * item.difference,
        interval=(scale * item.interval[0], scale * item.interval[1]),
        clients=[scale * row.shrunken for row in item.by_client if row.shrunken is not None],
        worth_it=scale * item.smallest_worth_it / span,
        unit=show.unit(item.unit),
    )
    label = f"{item.sentence} A ring a client."

    def one(name: str, draw: Callable[[int], Figure], width: int) -> Markup:
        svg = inline(as_svg(draw(width)), name, label, {}, styles)
        return Markup(svg)  # noqa: S704 - drawn here

    def draw(width: int) -> Figure:
        return pooled(numbers, width)

    return Drawn(one(f"pooled-{at}", draw, WIDE), one(f"pooled-{at}-narrow", draw, NARROW))
