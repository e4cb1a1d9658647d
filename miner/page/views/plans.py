"""A plan that was agreed: its days, what was ticked of them, and its sheet to print."""

from __future__ import annotations

from datetime import date

from starlette.responses import HTMLResponse, Response

from miner import ledger, steps
from miner.core.errors import MinerError
from miner.core.files import write_whole
from miner.core.messages import message
from miner.core.results import Plan
from miner.ledger import replay
from miner.page.places import TICKS, Missing
from miner.page.policy import own_policy
from miner.page.render import page
from miner.page.request import PageRequest, attached
from miner.page.tick_sheet import answers_of, noted, sheet_of
from miner.page.views.client import read_or_fault
from miner.page.words import one_line
from miner.records.write.settings_file import WRITING, require_stamp, stamp
from miner.render.plan_page import plan_page
from miner.words.door import rules_at_door
from miner.words.labels import factor_phrase, outcome_label
from miner.words.pages import TICK_ANSWERS
from miner.words.plan import what_to_do
from miner.words.plan_calendar import LETTERS, plan_calendar


def show(request: PageRequest) -> Response:
    """Show a plan, and the form for its ticks."""
    made, folder = _plan(request), request.folder
    until = _until(request)
    rules = rules_at_door(steps.load_rules(None, folder))
    sheet, fault = [], ""
    try:
        sheet = sheet_of(folder, made, until)
    except MinerError as error:
        fault = one_line(error)
    days = [day for _, group in sheet for day in group]
    kept = replay(ledger.read(folder)).plan(made.plan)
    return page(
        request,
        "planned.html",
        client=request.code,
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
    made, folder, until = _plan(request), request.folder, _until(request)
    fields = {name: request.text(name) for name in request.form if name.startswith("tick-")}
    answers = answers_of(made, fields)
    with WRITING:
        require_stamp(folder / TICKS, request.seen)
        write_whole(folder / TICKS, noted(folder, made, answers, until))
    return request.go(request.at("plans", made.plan), message("page.ticks_written"))


def _until(request: PageRequest) -> str:
    """Return the last day that may be ticked: today, or the newest day of the records."""
    entry, _ = read_or_fault(request)
    today = date.today().isoformat()
    try:
        return max([today, *(entry.dates() if entry is not None else [])])
    except MinerError:
        return today


def sheet(request: PageRequest) -> Response:
    """Show a plan as a page to print, or give it as a calendar file."""
    rules, made = steps.load_rules(None, request.folder), _plan(request)
    if request.text("as") == "calendar":
        headers = attached(f"{request.code}-{made.plan}.ics")
        return Response(plan_calendar(made), media_type="text/calendar", headers=headers)
    text = plan_page(made, rules)
    return HTMLResponse(text, headers={"Content-Security-Policy": own_policy(text)})


def _plan(request: PageRequest) -> Plan:
    found = steps.written_plan(request.folder, request.path("plan"))
    if found is None:
        raise Missing("page.no_such_plan")
    return found
