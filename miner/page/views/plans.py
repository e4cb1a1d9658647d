"""A plan that was agreed: its days, what was ticked of them, and its sheet to print."""

from __future__ import annotations

from datetime import date

from starlette.responses import Response

from miner import steps
from miner.core.messages import MinerError, message
from miner.core.results import Plan
from miner.page.places import TICKS, Missing, one_line
from miner.page.render import own_page, page
from miner.page.request import PageRequest, attached
from miner.render.pages import plan_page
from miner.steps import followup_state, sheet_of, write_ticks
from miner.steps.settings import stamp
from miner.words.pages import TICK_ANSWERS
from miner.words.plan import LETTERS, plan_calendar, what_to_do
from miner.words.said import rules_at_door
from miner.words.sentences import factor_phrase, outcome_label


def show(request: PageRequest) -> Response:
    """Show a plan, and the form for its ticks."""
    made, folder = _plan(request), request.folder
    rules = rules_at_door(steps.load_rules(None, folder))
    sheet, fault = [], ""
    try:
        sheet = sheet_of(folder / TICKS, made, _until(request))
    except MinerError as error:
        fault = one_line(error)
    days = [day for _, group in sheet for day in group]
    kept = followup_state(folder).plan(made.plan)
    return page(
        request,
        "planned.html",
        plan=made,
        fault=fault,
        answers=TICK_ANSWERS,
        sheet=[(period, LETTERS[period.arm], group) for period, group in sheet],
        title=f"{factor_phrase(made.factor, rules, made.unit_of)}, and "
        f"{outcome_label(made.outcome, rules, made.unit_of)}",
        what=what_to_do(made, rules),
        seen=stamp(folder / TICKS),
        total=len(days),
        over=sum(day.over for day in days),
        told=sum(bool(day.said or day.elsewhere) for day in days),
        read=kept is not None and kept.verdict is not None,
    )


def tick(request: PageRequest) -> Response:
    """Write down what the client ticked: all of it, or nothing."""
    made = _plan(request)
    said = {name[5:]: request.text(name) for name in request.form if name.startswith("tick-")}
    write_ticks(request.folder / TICKS, made, said, _until(request), request.seen)
    return request.go(request.at("plans", made.plan), message("page.ticks_written"))


def _until(request: PageRequest) -> str:
    """Return the last day that may be ticked: today, or the newest day of the records."""
    today = date.today().isoformat()
    try:
        return max([today, *request.entry().dates()])
    except MinerError:
        return today


def sheet(request: PageRequest) -> Response:
    """Show a plan as a page to print, or give it as a calendar file."""
    rules, made = steps.load_rules(None, request.folder), _plan(request)
    if request.text("as") == "calendar":
        headers = attached(f"{request.code}-{made.plan}.ics")
        return Response(plan_calendar(made), media_type="text/calendar", headers=headers)
    return own_page(plan_page(made, rules))


def _plan(request: PageRequest) -> Plan:
    found = steps.written_plan(request.folder, request.path("plan"))
    if found is None:
        raise Missing("page.no_such_plan")
    return found
