"""One pattern: its counts, its dots, its days, where each value came from, what to do with it."""

from __future__ import annotations

from dataclasses import replace

from starlette.responses import RedirectResponse, Response

from miner import steps
from miner.core.messages import MinerError, message
from miner.core.results import Hypothesis, Ranking
from miner.core.results.why import Why
from miner.page.client_cache import CachedRanking, ClientEntry
from miner.page.jobs import Progress
from miner.page.places import Missing
from miner.page.render import DRAWING, page
from miner.page.request import PageRequest
from miner.page.state import made_of
from miner.render.drawn import Drawn, Studio
from miner.render.figures.inline import Styles
from miner.steps import followup_state
from miner.steps.settings import display_unit
from miner.words.amounts import Amounts
from miner.words.document import paragraph
from miner.words.lengths import (
    beyond,
    calendar_weeks,
    expect,
    length_facts,
    takes_words,
    title,
)
from miner.words.plan import about, beside
from miner.words.sentences import evidence_of
from miner.words.teller import HypothesisTeller, Teller
from miner.words.why import why_parts
from miner.words.wording import DAYS

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
    (dots, line), styles = _drawn(request, cached, teller, item)
    told_why = why_parts(why, entry.words, display_unit=entry.unit, detail=True)
    told = HypothesisTeller(entry.words, Amounts(entry.unit), ranking.unit)
    return page(
        request,
        "pattern.html",
        styles=styles,
        item=item,
        title=teller.title(item),
        parts=[*told.parts(item), paragraph(evidence_of(item, entry.words))],
        dots=dots,
        line=line,
        why=told_why[1:],
        days={day: request.at("days", day) for day in entry.dates()},
        tries=teller.tries(item),
        testable=teller.testable(item),
        open=any(one.id == item.id for one in followup_state(request.folder).open_on(None)),
        tomorrow=entry.first_day_of_a_test(),
        high=item.counts.high > 0,
        of_hundred=_of_hundred(item),
        unit=ranking.unit,
        worth_in=Amounts(entry.unit).unit(
            entry.rules.outcome(item.outcome, ranking.unit).measure_unit
        ),
    )


def _of_hundred(item: Hypothesis) -> str:
    """Return how many of 100 with and without the habit were high, where the groups differ."""
    counts = item.counts
    if not (counts.with_ and counts.without and counts.high) or counts.with_ == counts.without:
        return ""
    with_, without = counts.with_high / counts.with_, counts.without_high / counts.without
    said = {"with_": round(100 * with_), "without": round(100 * without)}
    return str(message("page.of_hundred", **said))


def _drawn(
    request: PageRequest, cached: CachedRanking, teller: Teller, item: Hypothesis
) -> tuple[tuple[Drawn | None, Drawn | None], Styles]:
    def draw(styles: Styles) -> tuple[Drawn | None, Drawn | None]:
        with DRAWING:
            found = Studio(teller).dots(item), Studio(teller).difference(item)
            dots, line = (one.both(styles) if one else None for one in found)
            return dots, line

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


def keep(request: PageRequest) -> Response:
    """Keep a pattern as it is now, to be judged on days that did not suggest it."""
    id_, as_ = request.path("id"), request.text("as")
    read_on, note = request.day("read_on"), request.text("note")[:200]

    def work(progress: Progress) -> None:
        entry = request.entry()
        steps.keep(
            entry.client, id_, as_, entry.rules, read_on=read_on, note=note, progress=progress
        )

    to, back = request.at("follow-up"), request.at("patterns", id_)
    return request.later(f"keep {id_} {as_}", message("page.job_keep"), work, to, back)


def plan(request: PageRequest) -> Response:
    """Show what a test would take, or write it down."""
    id_, preview = request.path("id"), request.text("action") != "write"
    wish = _wish(request)

    def work(progress: Progress) -> None:
        entry = request.entry()
        made = steps.plan(entry.client, id_, wish, entry.rules, preview=preview, progress=progress)
        request.results.plans[id_] = (made, wish)
        if not preview and not made.written:
            raise MinerError("page.no_length_chosen")

    key, back = f"plan-{id_}-{preview}-{wish}", request.at("patterns", id_)
    to = request.at("patterns", id_, "plan") if preview else request.at("follow-up")
    return request.later(key, message("page.job_plan"), work, to, back)


def _wish(request: PageRequest) -> steps.Wish:
    start = request.day("start")
    if start is None:
        raise MinerError("page.first_day_missing")
    pairs, worth = request.text("pairs"), request.text("worth_having").replace(",", ".")
    try:
        wish = steps.Wish(
            start,
            float(worth) if worth else None,
            int(pairs) if pairs else None,
            length=request.text("length") or None,
            meal=request.text("meal") or None,
            glucose_in=display_unit(request.folder),
        )
        days = int(request.text("sensor_days") or 0)
    except ValueError as error:
        raise MinerError("page.numbers_not_numbers") from error
    if days and not SENSOR_DAYS[0] <= days <= SENSOR_DAYS[1]:
        least, most = SENSOR_DAYS
        raise MinerError("page.sensor_days", days=days, least=least, most=most)
    return replace(wish, sensor_days=days or None)


def show_plan(request: PageRequest) -> Response:
    """Show a plan that was only looked at."""
    id_, entry = request.path("id"), request.entry()
    held = request.results.plans.get(id_)
    if held is None:
        return RedirectResponse(request.at("patterns", id_), status_code=303)
    made, wish = held
    offered, amounts = made.lengths, Amounts(entry.unit)
    lengths = offered.lengths if offered else ()
    chosen = "" if wish.pairs else wish.length or (offered and offered.default) or ""
    return page(
        request,
        "plan.html",
        id=id_,
        wish=wish,
        title=title(made, entry.words, request.code),
        expect=expect(made, entry.words, amounts),
        lengths=[(one.name, takes_words(one), length_facts(made, one, amounts)) for one in lengths],
        chosen=chosen,
        meal=made.meal,
        agreed=bool(chosen or wish.pairs),
        lines=beyond(made),
        facts=[*about(made, entry.words, amounts), *beside(made, entry.words)],
        weekdays=DAYS,
        weeks=calendar_weeks(made),
        stops=made.stop_rules,
        notes=made.notes,
    )
