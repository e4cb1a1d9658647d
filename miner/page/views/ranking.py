"""The main job: the records are ranked, by day or by meal, all days or some, and shown."""

from __future__ import annotations

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
from miner.page.render import DRAWING, page
from miner.page.request import PageRequest
from miner.page.rule_change import differs
from miner.page.state import RankingChoice, made_of
from miner.page.views.client import name_of, read_or_fault
from miner.render.pages import render
from miner.words.pages import ranking_words
from miner.words.ranking import ranking_parts

FIRST = "preparation"
PLAIN = RankingChoice()


def show(request: PageRequest) -> Response:
    """Show a ranking that was made of these records, or the way to one."""
    entry, fault = read_or_fault(request)
    try:
        dates = entry.dates() if entry is not None else []
    except MinerError as error:
        entry, fault = None, one_line(error)
    if entry is None:
        return page(
            request,
            "rank.html",
            client=name_of(entry, request),
            fault=fault,
            report=None,
            need=0,
            form=None,
        )
    choice = choice_of(request, entry)
    ranking = _made(request, entry, choice)
    form = _form(request, entry, choice, dates)
    if ranking is None:
        return page(
            request,
            "rank.html",
            client=name_of(entry, request),
            fault="",
            report=entry.report(),
            need=entry.rules.guardrails.fewest_days_to_rank,
            form=form,
        )
    parts = ranking_parts(ranking, entry.words, display_unit=entry.unit)
    detail = ranking_parts(ranking, entry.words, display_unit=entry.unit, detail=True)[len(parts) :]
    cached = request.state.clients.last_ranking(entry)
    return page(
        request,
        "ranking.html",
        client=name_of(entry, request),
        parts=parts,
        detail=detail,
        form=form,
        ids=ids(request, cached),
        ranked=cached is not None and ranking.status == "ranked",
        differs=differs(entry.rules),
        plain=choice == PLAIN,
        said_as=_words(choice, entry),
        unit=ranking.unit,
    )


def _made(request: PageRequest, entry: ClientEntry, choice: RankingChoice) -> Ranking | None:
    if choice != PLAIN:
        return held(request, entry, choice)
    cached = request.state.clients.last_ranking(entry)
    return None if cached is None else cached.brief.ranking


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


def ids(request: PageRequest, cached: CachedRanking | None) -> dict[str, str]:
    """Return the addresses of the patterns of the rankings by day and by meal, by ID."""
    if cached is None:
        return {}
    return {
        item.id: request.at("patterns", item.id)
        for ranking in cached.rankings()
        for item in ranking.hypotheses
    }


def begin(request: PageRequest) -> Response:
    """Begin a ranking of the records as they are now."""
    folder, state, results = request.folder, request.state, request.results
    choice = choice_of(request, request.entry())
    done = _at(request, choice)

    def work(progress: Progress) -> str:
        entry = state.clients.entry(folder)
        if choice == PLAIN:
            prepare(state.clients.rank(entry, progress), entry)
            return done
        found = steps.rank(
            entry.client,
            entry.rules,
            unit=choice.unit or None,
            first=choice.first or None,
            last=choice.last or None,
            remember=True,
            progress=progress,
        )
        results.rankings[choice] = (entry.key, found)
        return done

    return request.later(f"rank {choice}", message("page.job_rank"), request.at("ranking"), work)


def prepare(cached: CachedRanking, entry: ClientEntry) -> None:
    """Make the page to prepare from, which takes longer than a page may."""
    with DRAWING:
        cached.pages[FIRST] = render(cached.brief, FIRST, entry.rules, cached.include)


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
    found = made_of(request.results.rankings.get(choice), entry.key)
    if found is not None:
        return found
    cached = request.state.clients.last_ranking(entry)
    by_meal = cached.brief.by_meal if cached is not None else None
    return by_meal if choice == RankingChoice("meal") else None


def others(request: PageRequest, entry: ClientEntry) -> list[RankingChoice]:
    """Return the rankings of these records that can be shown, the usual one first."""
    cached = request.state.clients.last_ranking(entry)
    made = [PLAIN] if cached is not None else []
    made += (
        [RankingChoice("meal")] if cached is not None and cached.brief.by_meal is not None else []
    )
    for choice in list(request.results.rankings):
        if choice not in made and held(request, entry, choice) is not None:
            made.append(choice)
    return made


def _at(request: PageRequest, choice: RankingChoice) -> str:
    """Return where a ranking is shown."""
    given = {"unit": choice.unit, "first": choice.first, "last": choice.last}
    query = urlencode({name: value for name, value in given.items() if value})
    return request.at("ranking") + (f"?{query}" if query else "")


def _words(choice: RankingChoice, entry: ClientEntry) -> str:
    """Return what was ranked, in words."""
    unit = choice.unit or entry.client.settings.rank_unit
    return ranking_words(unit, choice.first, choice.last)
