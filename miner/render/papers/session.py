"""The page to present: the record as a picture, then one card at a time."""

from __future__ import annotations

from typing import Any

from miner.core.errors import several
from miner.core.results import Evidence
from miner.render.drawn import Studio
from miner.render.papers.cards import Cards
from miner.render.papers.curves import curves
from miner.render.papers.days_shown import days_shown
from miner.words.by_clock import by_clock
from miner.words.labels import on_a_told_date
from miner.words.sentences import could_have_shown, say
from miner.words.teller import Teller

_NO_PICTURE: dict[str, Any] = {
    "month": None, "long": False, "beyond": False, "high_label": "", "some_high": False,
    "left_out": [],
}  # fmt: skip


def session(teller: Teller, studio: Studio) -> dict[str, Any]:
    """Return what the session template asks for."""
    brief, calm = teller.brief, teller.brief.calm
    by_day, *by_meal = (_cards(one, studio) for one in teller.each())
    return {
        "client": teller.client,
        "calm": calm,
        "headline": headline(teller),
        "nothing": nothing_stood_out(teller),
        "too_few": brief.ranking.status == "too_few",
        "unasked": unasked(teller),
        "need": brief.ranking.need_units,
        "month_sentence": month_sentence(teller),
        "actions": brief.actions,
        "reach": studio.reach() if nothing_stood_out(teller) and not calm else None,
        **(_NO_PICTURE if calm else days_shown(studio)),
        "questions": [*by_day[0], *(item for asked, _ in by_meal for item in asked)],
        "cards": by_day[1],
        "meals": [item for _, chosen in by_meal for item in chosen],
        "times": [] if calm else by_clock(teller),
        "unit": brief.display_unit,
        "outcomes": list(
            dict.fromkeys((i.outcome, one.label(i)) for one in teller.each() for i in one.chosen())
        ),
        "counted": counted(teller),
        "always": teller.always(),
        "curves": None if calm or not brief.days else curves(studio, words=False),
    }


def _cards(teller: Teller, studio: Studio) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the cards of the client's own questions, and of what was chosen."""
    cards, chosen = Cards(teller, studio.of(teller)), teller.chosen()
    asked = [cards.card(item) for item in teller.questions() if item not in chosen]
    return asked, [cards.card(item) for item in chosen]


def headline(teller: Teller) -> str:
    """Return the first line: what stood out of what is shown, and never more than that."""
    ranking, rules = teller.brief.ranking, teller.rules
    if ranking.status == "too_few":
        return say(rules, "client", "too_few")
    if unasked(teller):
        return say(rules, "client", "unasked")
    if nothing_stood_out(teller):
        return nothing_words(teller)
    shown = {item.id: item for one in teller.each() for item in [*one.chosen(), *one.questions()]}
    clear = sum(item.evidence is Evidence.CLEAR and not item.small for item in shown.values())
    if clear and not teller.brief.calm:
        if any(on_a_told_date(item) for item in shown.values()):
            return say(rules, "client", "clear_if")
        return say(rules, "client", "clear_one" if clear == 1 else "clear_many", count=clear)
    if not clear and not _any_clear(teller):
        return say(rules, "client", "not_clear", days=teller.days)
    first, last = teller.span or ("", "")
    return say(rules, "client", "plain", first=first, last=last)


def nothing_words(teller: Teller) -> str:
    """Return that no habit stood out, where one would have; else that we could not tell."""
    rankings = [one.brief.ranking for one in teller.each()]
    shown = any(could_have_shown(ranking, teller.rules) for ranking in rankings)
    key = "nothing" if shown else "could_not_tell"
    return say(teller.rules, "client", key, days=teller.days)


def nothing_stood_out(teller: Teller) -> bool:
    """Say whether the first screen is the one of a month in which nothing stood out."""
    told = any(
        item.evidence is Evidence.HINT
        for one in teller.each()
        for item in [*one.chosen(), *one.questions()]
    )
    ranked = teller.brief.ranking.status != "too_few" and not unasked(teller)
    return ranked and not _any_clear(teller) and not told


def unasked(teller: Teller) -> bool:
    """Say whether the days were enough and yet no habit could be compared on them."""
    ranked = teller.brief.ranking.status != "too_few"
    return ranked and not any(one.brief.ranking.questions_asked for one in teller.each())


def month_sentence(teller: Teller) -> str:
    """Return the record in a sentence, or nothing without days."""
    if teller.span is None:
        return ""
    first, last = teller.span
    check = teller.brief.check
    key = "looked_calm" if teller.brief.calm else "looked"
    return say(
        teller.rules, "client", key, first=first, last=last, usable=check.usable_days,
        days=several(check.days, "day"),
    )  # fmt: skip


def counted(teller: Teller) -> dict[str, int] | None:
    """Return how much was looked at and what could not be, or None where it is not told."""
    ranking = teller.brief.ranking
    if teller.brief.calm or ranking.status == "too_few" or unasked(teller):
        return None
    each = list(teller.each())
    asked = sum(one.brief.ranking.questions_asked for one in each)
    open_ = [item for one in each for item in one.level(Evidence.CANNOT_TELL)]
    closed = [item for item in open_ if item.p is None]
    little = sum(len(one.level(Evidence.LITTLE_SIGN)) for one in each)
    return {
        "asked": asked, "cannot_tell": len(open_) - len(closed), "little_sign": little,
        "closed": len(closed),
    }  # fmt: skip


def _any_clear(teller: Teller) -> bool:
    return any(
        item.evidence is Evidence.CLEAR
        for one in teller.each()
        for item in one.brief.ranking.hypotheses
    )
