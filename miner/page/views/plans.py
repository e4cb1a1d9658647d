"""A plan that was agreed: its days, what was ticked of them, and its sheet to print."""

from __future__ import annotations

from datetime import date

from starlette.responses import Response

from miner import steps
from miner.core.messages import MinerError
from miner.core.results import Plan
from miner.page.places import TICKS, Missing, one_line
from miner.page.render import own_page, page
from miner.page.request import PageRequest, attached
from miner.render.pages import plan_page
from miner.steps import Ticking, followup_state, sheet_of
from miner.steps.settings import stamp
from miner.steps.ticking import DaysOver, asleep_from
from miner.words.noting import ticked_words
from miner.words.pages import TICK_MARKS, after_tick
from miner.words.plan import plan_calendar, tested_question, what_to_do
from miner.words.said import rules_at_door
from miner.words.wording import capital


def show(request: PageRequest) -> Response:
    """Show a plan and its days; each may be pressed."""
    made, folder, over = _plan(request), request.folder, _over(request)
    rules = rules_at_door(steps.load_rules(None, folder))
    sheet, last, fault = [], 0, ""
    try:
        sheet = sheet_of(folder, made, over.told)
        last = len(steps.last_ticks(folder, made.plan))
    except MinerError as error:
        fault = one_line(error)
    days = [(period, day) for period, group in sheet for day in group]
    ticked = {day.day for _, day in days if day.said or day.elsewhere}
    kept, (entry, _) = followup_state(folder).plan(made.plan), request.read_or_fault()
    return page(
        request,
        "planned.html",
        plan=made,
        fault=fault,
        paused=entry.paused([kept]).get(made.plan, ()) if entry and kept else (),
        days=[pair for pair in days if pair[1].over],
        asleep=_asleep(request, made),
        marks=TICK_MARKS,
        after=after_tick,
        question=tested_question(made, rules),
        what=what_to_do(made, rules),
        seen=stamp(folder / TICKS),
        to_come=sum(not day.over for _, day in days),
        left=sum(day.day <= over.whole and day.day not in ticked for _, day in days),
        files=sorted({day.file for _, day in days if day.elsewhere}),
        last=last,
        read=kept is not None and kept.verdict is not None,
    )


def tick(request: PageRequest) -> Response:
    """Note what the client ticked: all as planned, or the day that was pressed; or take it back."""
    made, folder, place = _plan(request), request.folder, ""
    if request.text("undo"):
        done = steps.take_back_ticks(folder, made.plan, seen=request.seen)
    else:
        told = [(name[5:], request.text(name)) for name in request.form if name[:5] == "tick-"]
        spans = tuple((day, day, said) for day, said in told)
        what = Ticking(made.plan, spans, rest=bool(request.text("rest")))
        done = steps.tick(folder, what, _over(request), seen=request.seen)
        place = f"tick-{told[0][0]}" if len(told) == 1 else ""
    said = f"{capital(ticked_words(done))}."
    return request.go(request.at("plans", made.plan), said, place=place)


def _over(request: PageRequest) -> DaysOver:
    """Return up to which day something can be ticked; by the clock alone without records."""
    try:
        return steps.days_over(date.today(), request.entry().records())
    except MinerError:
        return steps.days_over(date.today())


def _asleep(request: PageRequest, made: Plan) -> dict[str, str]:
    try:
        entry = request.entry()
        return asleep_from(entry.records(), made, entry.rules)
    except MinerError:
        return {}


def sheet(request: PageRequest) -> Response:
    """Show a plan as a page to print, or give it as a calendar file."""
    rules, made = steps.load_rules(None, request.folder), _plan(request)
    if request.text("as") == "calendar":
        headers = attached(f"{request.code}-{made.plan}.ics")
        content = plan_calendar(made, rules)
        return Response(content, media_type="text/calendar", headers=headers)
    return own_page(plan_page(made, rules, request.client_name))


def _plan(request: PageRequest) -> Plan:
    found = steps.written_plan(request.folder, request.path("plan"))
    if found is None:
        raise Missing("page.no_such_plan")
    return found
