"""The main job: the records are ranked, by day or by meal, all days or some, and shown."""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from urllib.parse import urlencode

from starlette.responses import Response

from miner import steps
from miner.core.messages import MinerError, message
from miner.core.period import Period
from miner.core.results import Ranking
from miner.core.unit import Unit
from miner.page.client_cache import CachedRanking, ClientEntry
from miner.page.jobs import Progress
from miner.page.places import one_line
from miner.page.render import headed, make_page, page
from miner.page.request import PageRequest
from miner.page.state import RankingChoice, made_of
from miner.render.pages import drawn_page
from miner.words.pages import differing_rules, ranking_words
from miner.words.ranking import ranking_parts
from miner.words.sentences import evidence_of
from miner.words.teller import Teller

FIRST = "preparation"
PLAIN = RankingChoice()


def show(request: PageRequest) -> Response:
    """Show a ranking that was made of these records, or the way to one."""
    entry, fault = request.read_or_fault()
    try:
        dates = entry.dates() if entry is not None else []
    except MinerError as error:
        entry, fault = None, one_line(error)
    if entry is None:
        return page(request, "rank.html", fault=fault)
    choice = choice_of(request, entry)
    ranking = held(request, entry, choice)
    form = _form(request, entry, choice, dates)
    if ranking is None:
        need = entry.rules.guardrails.fewest_days_to_rank
        return page(
            request,
            "rank.html",
            fault="",
            report=entry.report(),
            need=need,
            form=form,
        )
    how: dict[str, Any] = {"display_unit": entry.unit, "cautioned": False}
    parts = ranking_parts(ranking, entry.words, **how)
    detail = ranking_parts(ranking, entry.words, **how, detail=True)[len(parts) :]
    cached = request.state.clients.last_ranking(entry)
    title, rest = headed(parts)
    return page(
        request,
        "ranking.html",
        heading=title,
        parts=rest,
        detail=detail,
        form=form,
        ids={
            item.id: request.at("patterns", item.id)
            for one in (cached.rankings() if cached is not None else ())
            for item in one.hypotheses
        },
        patterns=_patterns(request, cached, ranking, entry) if cached is not None else [],
        ranked=cached is not None and ranking.status == "ranked",
        differs=differing_rules(entry.rules),
        plain=choice == PLAIN,
        said_as=_words(choice, entry),
        unit=ranking.unit,
    )


def _patterns(
    request: PageRequest, cached: CachedRanking, ranking: Ranking, entry: ClientEntry
) -> list[tuple[int, str, str, str]]:
    """Return number, address, title and level of each pattern that this ranking shows."""
    teller = Teller(replace(cached.brief, ranking=ranking, by_meal=None), entry.words)
    shown = ranking.numbered(entry.words.guardrails.hints_shown)
    return [
        (n, request.at("patterns", item.id), teller.title(item), evidence_of(item, teller.rules))
        for n, item in enumerate(shown, 1)
        if any(one.find(item.id) is not None for one in cached.rankings())
    ]


def _form(
    request: PageRequest, entry: ClientEntry, choice: RankingChoice, dates: list[str]
) -> dict[str, object]:
    """Return what the form of another ranking asks for, and the rankings there are."""
    return {
        "unit": choice.unit or entry.client.settings.rank_unit,
        "first": choice.first,
        "last": choice.last,
        "usual": entry.client.settings.rank_unit,
        "first_day": dates[0] if dates else "",
        "last_day": dates[-1] if dates else "",
        "meals": bool(len(entry.client.used("meals"))),
        "made": [
            (_at(request, one), _words(one, entry), one == choice) for one in others(request, entry)
        ],
    }


def begin(request: PageRequest) -> Response:
    """Begin a ranking of the records as they are now."""
    choice = choice_of(request, request.entry())

    def work(progress: Progress) -> None:
        entry = request.entry()
        if choice == PLAIN:
            make_page(request.state.clients.rank(entry, progress), FIRST, entry.rules, drawn_page)
            return
        found = steps.rank(
            entry.client,
            entry.rules,
            unit=choice.unit or None,
            first=choice.first or None,
            last=choice.last or None,
            remember=True,
            progress=progress,
        )
        request.results.rankings[choice] = (entry.key, found)

    said, then = message("page.job_rank"), request.text("then")
    to = request.at(*then.split("/")) if then else _at(request, choice)
    return request.later(f"rank {choice}", said, work, to, request.at("ranking"))


def choice_of(request: PageRequest, entry: ClientEntry) -> RankingChoice:
    """Return what was asked for.

    Raises:
        MinerError: there is no such unit, a date is none, or the last comes before the first.
    """
    unit = request.text("unit")
    if unit:
        Unit.of(unit)
    period = Period.of(request.day("first"), request.day("last"))
    usual = unit == entry.client.settings.rank_unit
    return RankingChoice("" if usual else unit, period.first or "", period.last or "")


def held(request: PageRequest, entry: ClientEntry, choice: RankingChoice) -> Ranking | None:
    """Return such a ranking of these records, made in this run of the page, or None."""
    cached = request.state.clients.last_ranking(entry)
    if choice == PLAIN:
        return cached.brief.ranking if cached is not None else None
    found = made_of(request.results.rankings.get(choice), entry.key)
    if found is None and cached is not None and choice == RankingChoice("meal"):
        return cached.brief.by_meal
    return found


def others(request: PageRequest, entry: ClientEntry) -> list[RankingChoice]:
    """Return the rankings of these records that can be shown, the usual one first."""
    cached = request.state.clients.last_ranking(entry)
    made = [PLAIN, RankingChoice("meal")][: len(cached.rankings())] if cached is not None else []
    beside = [choice for choice in list(request.results.rankings) if choice not in made]
    return [*made, *(choice for choice in beside if held(request, entry, choice) is not None)]


def _at(request: PageRequest, choice: RankingChoice) -> str:
    """Return where a ranking is shown."""
    given = {"unit": choice.unit, "first": choice.first, "last": choice.last}
    query = urlencode({name: value for name, value in given.items() if value})
    return request.at("ranking") + (f"?{query}" if query else "")


def _words(choice: RankingChoice, entry: ClientEntry) -> str:
    """Return what was ranked, in words."""
    unit = choice.unit or entry.client.settings.rank_unit
    return ranking_words(unit, choice.first, choice.last)
