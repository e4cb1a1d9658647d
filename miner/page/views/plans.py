"""A plan that was agreed: its days, what was ticked of them, and its sheet to print."""

from __future__ import annotations

import csv
import io
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from starlette.responses import HTMLResponse, Response

from miner import ledger, steps
from miner.core.files import safe_cell, write_whole
from miner.core.messages import MinerError, message
from miner.core.results import Plan, PlanPeriod, Severity
from miner.followup.ticked import misplaced
from miner.ledger import replay
from miner.page.guard import own_policy
from miner.page.places import TICKS, Missing, one_line
from miner.page.render import page
from miner.page.request import PageRequest, attached
from miner.page.views.client import read_or_fault
from miner.records.write.settings_file import WRITING, require_stamp, stamp
from miner.records.write.ticks import ANSWERS, Ticks, tick_files, ticks_in
from miner.render.plan_page import plan_page
from miner.words.pages import TICK_ANSWERS
from miner.words.plan import LETTERS, plan_calendar, what_to_do
from miner.words.said import rules_at_door
from miner.words.sentences import factor_phrase, outcome_label

HEADER = ("date", "plan", "answer")


@dataclass(frozen=True, slots=True)
class TickDay:
    """One day of a plan in the form.

    Attributes:
        day: ISO date.
        said: what was noted here, or nothing.
        elsewhere: the answer another file gives, or nothing.
        file: that file.
        over: whether the day may be answered yet.
    """

    day: str
    said: str
    elsewhere: str
    file: str
    over: bool


def sheet_of(folder: Path, plan: Plan, until: str) -> list[tuple[PlanPeriod, list[TickDay]]]:
    """Return the periods of a plan, each with its days and what is noted of them.

    Args:
        folder: the client's folder.
        plan: as it was written.
        until: ISO date of the last day that is over.

    Raises:
        MinerError: a file of ticks cannot be read.
    """
    own, others = _own(folder).of(plan.plan), ticks_in(_others(folder))

    def told(day: str) -> TickDay:
        said = others.by_day.get((plan.plan, day), "")
        elsewhere = said if said in ("yes", "no") else ""
        file = others.places[plan.plan, day][0] if elsewhere else ""
        return TickDay(day, own.get(day, ""), elsewhere, file, day <= until)

    return [(period, [told(day) for day in _days(period)]) for period in plan.periods]


def noted(folder: Path, plan: Plan, answers: Mapping[str, str], until: str) -> bytes:
    """Return the page's own file with these answers, read as the commands read it; none is written.

    Args:
        folder: the client's folder.
        plan: as it was written.
        answers: ISO date -> "yes", "no", "forgot", or nothing to take an answer back.
        until: ISO date; no day after it has an answer.

    Raises:
        MinerError: an answer is none of these, or of a day that is not over or not the plan's; or
            another file says otherwise.
    """
    late = sorted(day for day, said in answers.items() if said and day > until)
    if late:
        raise MinerError("page.day_not_over", late=late[0][:20], until=until)
    rows = dict(_own(folder).by_day)
    for day, said in answers.items():
        rows.pop((plan.plan, day), None)
        if said:
            rows[plan.plan, day] = said
    content = _written(rows)
    _require_readable(folder, content)
    return content


def _require_readable(folder: Path, content: bytes) -> None:
    """Read what would be written beside all other files of ticks, in the light of the plans."""
    with tempfile.TemporaryDirectory() as scratch:
        trial = Path(scratch) / TICKS
        write_whole(trial, content, durable=False)
        ticks = ticks_in([*_others(folder), trial])
    plans = replay(ledger.read(folder)).plans
    for found in (*ticks.findings, *misplaced(ticks, plans)):
        if found.file == TICKS and found.severity in (Severity.LEFT_OUT, Severity.QUESTION):
            what, expected, do = found.what, found.expected, found.do
            raise MinerError("page.finding", found=what, expected=expected, do=do)


def _own(folder: Path) -> Ticks:
    """Return what was noted here.

    Raises:
        MinerError: somebody else wrote into the file what would be lost by writing it again.
    """
    path = folder / TICKS
    ticks = ticks_in([path] if path.is_file() else [])
    if path.is_file() and path.read_bytes() != _written(ticks.by_day):
        raise MinerError("page.ticks_changed_by_hand", file=TICKS)
    return ticks


def _others(folder: Path) -> list[Path]:
    return [path for path in tick_files(folder) if path.name != TICKS]


def _written(rows: Mapping[tuple[str, str], str]) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER)
    writer.writerows((day, safe_cell(plan), said) for (plan, day), said in sorted(rows.items()))
    return out.getvalue().encode()


def _days(period: PlanPeriod) -> list[str]:
    first, last = date.fromisoformat(period.first), date.fromisoformat(period.last)
    return [(first + timedelta(days=k)).isoformat() for k in range((last - first).days + 1)]


def answers_of(plan: Plan, said: Mapping[str, str]) -> dict[str, str]:
    """Return the answers of a form by day; a day the form did not show keeps what it has.

    Args:
        plan: as it was written.
        said: the fields of the form, ``tick-DATE``.

    Raises:
        MinerError: a field is no answer, or of no day of the plan.
    """
    found = {key.removeprefix("tick-"): value for key, value in said.items() if key[:5] == "tick-"}
    days = {day for period in plan.periods for day in _days(period)}
    for day, answer in found.items():
        if answer not in ("", *ANSWERS):
            raise MinerError("page.no_answer", answer=answer[:20])
        if day not in days:
            raise MinerError("page.no_day_of_plan", day=day[:20], first=min(days), last=max(days))
    return found


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
