"""One pattern: its counts, its dots, its days, where each value came from, what to do with it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from starlette.responses import RedirectResponse, Response

from miner import steps
from miner.core.messages import MinerError, message
from miner.core.results import Hypothesis, Ranking, Why
from miner.followup import planning
from miner.page.client_cache import CachedRanking, ClientEntry
from miner.page.jobs import Progress
from miner.page.places import Missing
from miner.page.render import DRAWING, page
from miner.page.request import PageRequest
from miner.page.state import made_of
from miner.page.views.client import before, name_of
from miner.render.drawn import Drawn, Studio
from miner.render.figures.inline import Styles
from miner.steps.planning import LATEST_START
from miner.words.amounts import Amounts
from miner.words.door import Audience
from miner.words.plan import plan_parts
from miner.words.teller import HypothesisTeller, Teller
from miner.words.why import why_parts

SENSOR_DAYS = (5, 30)


def show(request: PageRequest) -> Response:
    """Show one pattern of the last ranking."""
    entry = request.entry()
    cached = request.state.clients.last_ranking(entry)
    if cached is None:
        said = message("page.not_ranked_yet")
        return request.go(request.at("ranking"), said)
    ranking, item = _found(cached, request.path("id"))
    why = _why(request, entry, cached, ranking.unit, item)
    brief = replace(cached.brief, ranking=ranking, by_meal=None, whys={item.id: why})
    teller = Teller(brief, entry.words, (item.id,))
    styles, drawn, line = _drawn(request, cached, teller, item)
    told = HypothesisTeller(entry.words, Amounts(entry.unit), ranking.unit)
    return page(
        request,
        "pattern.html",
        styles=styles,
        client=name_of(entry, request),
        item=item,
        first=before(entry),
        title=teller.title(item),
        parts=told.parts(item, level=True),
        dots=drawn,
        line=line,
        why=why_parts(why, entry.words, display_unit=entry.unit, audience=Audience.PRACTITIONER)[
            1:
        ],
        days={day: request.at("days", day) for day in entry.dates()},
        tries=teller.tries(item),
        testable=teller.testable(item),
        open=_open(request, item.id),
        tomorrow=_first_day(entry),
        high=item.counts.high > 0,
        unit=ranking.unit,
    )


def _first_day(entry: ClientEntry) -> str:
    """Return the day a test is proposed to begin: tomorrow, as far as the records let it."""
    after = date.fromisoformat(entry.dates()[-1]) + timedelta(days=1)
    tomorrow = date.today() + timedelta(days=1)
    return max(after, min(tomorrow, after + timedelta(days=LATEST_START))).isoformat()


def _drawn(
    request: PageRequest, cached: CachedRanking, teller: Teller, item: Hypothesis
) -> tuple[Styles, Drawn | None, Drawn | None]:
    def draw() -> tuple[Styles, Drawn | None, Drawn | None]:
        styles = Styles()
        with DRAWING:
            studio = Studio(teller, styles)
            return styles, studio.dots(item), studio.difference(item)

    return request.state.pattern_figures.get((request.code, item.id), cached.brief, draw)


def _found(cached: CachedRanking, id_: str) -> tuple[Ranking, Hypothesis]:
    """Return the pattern of an ID, and the ranking it is in."""
    for ranking in cached.rankings():
        item = ranking.find(id_)
        if item is not None:
            return ranking, item
    raise Missing("page.no_such_pattern")


def _why(
    request: PageRequest, entry: ClientEntry, cached: CachedRanking, unit: str, item: Hypothesis
) -> Why:
    whys = request.results.whys
    held = cached.brief.whys.get(item.id) or made_of(whys.get(item.id), entry.key)
    if held is not None:
        return held
    table = entry.meals() if unit == "meal" else entry.days()
    found = steps.why(entry.client, item.id, entry.rules, table=table)
    whys[item.id] = (entry.key, found)
    return found


def _open(request: PageRequest, id_: str) -> bool:
    from miner import ledger
    from miner.ledger import replay

    now_open = replay(ledger.read(request.folder)).open_on(None)
    return any(item.id == id_ for item in now_open)


def keep(request: PageRequest) -> Response:
    """Keep a pattern as it is now, to be judged on days that did not suggest it."""
    folder, state, id_ = request.folder, request.state, request.path("id")
    as_, read_on, note = request.text("as"), request.day("read_on"), request.text("note")[:200]
    to = request.at("follow-up")

    def work(progress: Progress) -> str:
        entry = state.clients.entry(folder)
        steps.keep(
            entry.client, id_, as_, entry.rules, read_on=read_on, note=note, progress=progress
        )
        return to

    return request.later(
        f"keep {id_} {as_}", message("page.job_keep"), request.at("patterns", id_), work
    )


def plan(request: PageRequest) -> Response:
    """Show what a test would take, or write it down."""
    folder, state, id_ = request.folder, request.state, request.path("id")
    preview = request.text("action") != "write"
    wish = _wish(request)
    to, results = request.at("patterns", id_, "plan"), request.results
    if not preview:
        to = request.at("follow-up")

    def work(progress: Progress) -> str:
        entry = state.clients.entry(folder)
        made = steps.plan(entry.client, id_, wish, entry.rules, preview=preview, progress=progress)
        results.plans[id_] = (made, wish)
        return to

    key = f"plan-{id_}-{preview}-{wish}"
    return request.later(key, message("page.job_plan"), request.at("patterns", id_), work)


def _wish(request: PageRequest) -> steps.Wish:
    start = request.day("start")
    if start is None:
        raise MinerError("page.first_day_missing")
    pairs, worth = request.text("pairs"), request.text("worth_having").replace(",", ".")
    try:
        days = int(request.text("sensor_days") or planning.SENSOR_DAYS)
        wish = steps.Wish(
            start=start,
            pairs=int(pairs) if pairs else None,
            worth_having=float(worth) if worth else None,
            sensor_days=days,
        )
    except ValueError as error:
        raise MinerError("page.numbers_not_numbers") from error
    if not SENSOR_DAYS[0] <= days <= SENSOR_DAYS[1]:
        least, most = SENSOR_DAYS
        raise MinerError("page.sensor_days", days=days, least=least, most=most)
    return wish


def show_plan(request: PageRequest) -> Response:
    """Show a plan that was only looked at."""
    id_, entry = request.path("id"), request.entry()
    held = request.results.plans.get(id_)
    if held is None:
        return RedirectResponse(request.at("patterns", id_), status_code=303)
    made, wish = held
    return page(
        request,
        "plan.html",
        client=name_of(entry, request),
        id=id_,
        wish=wish,
        first=before(entry),
        parts=plan_parts(made, entry.words, display_unit=entry.unit),
    )
