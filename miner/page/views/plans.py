"""A plan that was agreed: its days, what was ticked of them, and its sheet to print."""

from __future__ import annotations

from datetime import date

from starlette.responses import HTMLResponse, Response

from miner import ledger, steps
from miner.core.errors import MinerError
from miner.core.files import write_whole
from miner.core.results import Plan
from miner.ledger import replay
from miner.page.asked import Asked, attached
from miner.page.places import TICKS, Missing
from miner.page.policy import own_policy
from miner.page.render import page
from miner.page.tick_sheet import answers_of, noted, sheet_of
from miner.page.views.client import read_or_fault
from miner.page.words import for_page
from miner.records.settings_file import WRITING, require_stamp, stamp
from miner.render.papers.plan_page import plan_page
from miner.words.labels import factor_phrase, outcome_label
from miner.words.plan import what_to_do
from miner.words.plan_calendar import LETTERS, plan_calendar

ANSWERS = (("yes", "yes"), ("no", "no"), ("forgot", "forgot"), ("", "nothing"))


def show(asked: Asked) -> Response:
    """Show a plan, and the form for its ticks."""
    made, folder = _plan(asked), asked.folder
    until = _until(asked)
    rules = steps.load_rules(None, folder)
    sheet, fault = [], ""
    try:
        sheet = sheet_of(folder, made, until)
    except MinerError as error:
        fault = for_page(error.message)
    days = [day for _, group in sheet for day in group]
    kept = replay(ledger.read(folder)).plan(made.plan)
    return page(
        asked, "planned.html", client=asked.code, plan=made, fault=fault, answers=ANSWERS,
        sheet=[(period, LETTERS[period.arm], group) for period, group in sheet],
        title=f"{factor_phrase(made.factor, rules, made.unit_of)}, and "
        f"{outcome_label(made.outcome, rules, made.unit_of)}",
        what=what_to_do(made, rules), seen=stamp(folder / TICKS), total=len(days),
        over=sum(day.over for day in days),
        told=sum(bool(day.said or day.elsewhere) for day in days),
        read=kept is not None and kept.verdict is not None,
    )  # fmt: skip


def tick(asked: Asked) -> Response:
    """Write down what the client ticked: all of it, or nothing."""
    made, folder, until = _plan(asked), asked.folder, _until(asked)
    fields = {name: asked.text(name) for name in asked.form if name.startswith("tick-")}
    answers = answers_of(made, fields)
    with WRITING:
        require_stamp(folder / TICKS, asked.seen)
        write_whole(folder / TICKS, noted(folder, made, answers, until))
    return asked.go(asked.at("plans", made.plan), "The ticks are written down.")


def _until(asked: Asked) -> str:
    """Return the last day that may be ticked: today, or the newest day of the records."""
    entry, _ = read_or_fault(asked)
    today = date.today().isoformat()
    try:
        return max([today, *(entry.dates() if entry is not None else [])])
    except MinerError:
        return today


def sheet(asked: Asked) -> Response:
    """Show a plan as a page to print, or give it as a calendar file."""
    rules, made = steps.load_rules(None, asked.folder), _plan(asked)
    if asked.text("as") == "calendar":
        headers = attached(f"{asked.code}-{made.plan}.ics")
        return Response(plan_calendar(made), media_type="text/calendar", headers=headers)
    text = plan_page(made, rules)
    return HTMLResponse(text, headers={"Content-Security-Policy": own_policy(text)})


def _plan(asked: Asked) -> Plan:
    found = steps.written_plan(asked.folder, asked.path("plan"))
    if found is None:
        raise Missing("there is no such plan", "a plan of this client", "See the page Follow-up.")
    return found
