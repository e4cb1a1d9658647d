"""The four pages of a client, each a file of its own that asks for nothing else."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from miner.core.messages import MinerError
from miner.core.results.briefing import KINDS, MAX_ON_ONE_SIDE, Briefing, NoteAt
from miner.render.drawn import MANY_DAYS, Studio
from miner.render.figures.inline import Styles
from miner.render.figures.month import HIGHEST, LOWEST
from miner.render.page import fill
from miner.rulebook import RuleBook
from miner.words.amounts import MG_DL_PER_MMOL_L
from miner.words.door import Audience, at_door, said_to
from miner.words.handouts import Card, doctor, session, take_home
from miner.words.preparation import preparation
from miner.words.safe import clean
from miner.words.teller import Teller
from miner.words.wording import day_name

_MAKERS: Mapping[str, tuple[Audience, Callable[[Teller], dict[str, Any]]]] = {
    "preparation": (Audience.PRACTITIONER, preparation),
    "session": (Audience.CLIENT, session),
    "take-home": (Audience.CLIENT, take_home),
    "doctor": (Audience.DOCTOR, doctor),
}
HOURS_BEFORE = 9
LANES = ("sleep", "stress", "activity", "meals", "tags")
CLIENTS_OWN = ("meals", "tags")
_NO_PICTURE: dict[str, Any] = {
    "month": None,
    "long": False,
    "beyond": False,
    "high_label": "",
    "some_high": False,
    "left_out": [],
}


def render(brief: Briefing, kind: str, rules: RuleBook, include: Sequence[str] = ()) -> str:
    """Return one page as HTML.

    Args:
        brief: what is known of the client.
        kind: one of ``KINDS``.
        rules: the rule books, for the words.
        include: the hypotheses chosen to be shown, by ID.

    Raises:
        MinerError: there is no such page, or more was chosen than it holds.
    """
    if kind not in _MAKERS:
        raise MinerError("words.no_such_page", kind=kind, kinds=KINDS)
    chosen = tuple(dict.fromkeys(include))
    if kind == "take-home" and len(chosen) > MAX_ON_ONE_SIDE:
        raise MinerError("words.too_many_chosen", count=len(chosen), most=MAX_ON_ONE_SIDE)
    audience, words = _MAKERS[kind]
    teller, styles = Teller(brief, said_to(rules, audience), chosen), Styles()
    drawn = {"session": _session_figures, "preparation": _preparation_figures}
    with at_door("" if audience is Audience.CLIENT else "paper"):
        told, studio = words(teller), Studio(teller, styles)
        figures = drawn[kind](told, studio) if kind in drawn else {}
    return fill(f"{kind}.html", styles, **told | figures)


def _session_figures(told: Mapping[str, Any], studio: Studio) -> dict[str, Any]:
    brief = studio.teller.brief
    cards = {
        name: [_presented(card, studio) for card in told[name]]
        for name in ("questions", "cards", "meals")
    }
    return cards | {
        "reach": studio.reach() if told["nothing"] and not brief.calm else None,
        **(_NO_PICTURE if brief.calm else days_shown(studio)),
        "curves": None if brief.calm or not brief.days else curves(studio, words=False),
    }


def _presented(card: Card, studio: Studio) -> dict[str, Any]:
    """Return everything one card shows; without numbers and figures where it is calm."""
    told = card.told()
    return told if told["calm"] else told | _figures(card, studio)


def _preparation_figures(told: Mapping[str, Any], studio: Studio) -> dict[str, Any]:
    cards = [
        {"title": teller.title(item), "id": item.id, "real": Card(teller, item).real()}
        | _figures(Card(teller, item), studio)
        for teller, item in told["cards"]
    ]
    words = curves(studio, words=True) if studio.teller.brief.days else None
    return {"cards": cards, **days_shown(studio), "curves": words}


def _figures(card: Card, studio: Studio) -> dict[str, Any]:
    item, own = card.item, studio.of(card.teller)
    pairs, found = card.pairs(), card.teller.brief.pairs.get(item.id)
    return {
        "dots": own.dots(item),
        "line": own.difference(item),
        "lineup": own.lineup(item),
        "pairs": pairs and found and pairs | {"figure": own.pairs(item, found)},
    }


def days_shown(studio: Studio) -> dict[str, Any]:
    """Return the picture of the days, or None without any, and what stands in its key."""
    teller = studio.teller
    days, name = teller.brief.days, teller.brief.high_outcome
    return {
        "month": studio.month() if days else None,
        "long": len(days) > MANY_DAYS,
        "beyond": studio.beyond,
        "high_label": teller.rules.outcome(name).label if name else "",
        "some_high": any(day.high and day.usable for day in days),
        "left_out": [day.day for day in days if not day.usable],
    }


def curves(studio: Studio, *, words: bool) -> dict[str, Any]:
    """Return what a day's picture is drawn from, in the unit shown.

    Thinned readings, where each day lies in them, and what was recorded beside them.

    Args:
        studio: of the page.
        words: name the meals and tags; without, only when they were is shown, for nothing that
            was not chosen may reach a client's page.
    """
    brief = studio.teller.brief
    mmol = brief.display_unit == "mmol/L"
    scale, digits = (MG_DL_PER_MMOL_L, 1) if mmol else (1.0, None)
    start = int(brief.series.start[11:13]) * 60 + int(brief.series.start[14:16])
    return {
        "unit": brief.display_unit,
        "low": LOWEST / scale,
        "high": HIGHEST / scale,
        "lines": [4, 8, 12] if mmol else [50, 100, 150, 200, 250],
        "step": brief.series.step_min,
        "clock": start,
        "before": HOURS_BEFORE * 60,
        "values": [
            None if value is None else round(value / scale, digits) for value in brief.series.values
        ],
        "lanes": LANES,
        "notes": [
            [LANES.index(note.stream), note.start, note.end, *_named(note, words=words)]
            for note in brief.series.notes
        ],
        "days": {
            day.day: {
                "name": day_name(day.day),
                "told": studio.told(day),
                "from": day.start,
                "to": day.end,
            }
            for day in brief.days
        },
    }


def _named(note: NoteAt, *, words: bool) -> list[str]:
    told = words and note.stream in CLIENTS_OWN
    return [clean(note.text, 60)] if told else []
