"""The caseload: a row a client, and what the clients who agreed share."""

from __future__ import annotations

from starlette.responses import HTMLResponse, RedirectResponse, Response

from miner import steps
from miner.core.messages import message
from miner.core.results.caseload import Caseload
from miner.page.guard import own_policy
from miner.page.jobs import Progress
from miner.page.places import clients_of
from miner.page.render import DRAWING, page
from miner.page.request import PageRequest, address
from miner.page.rule_change import rules_of
from miner.records.read.settings import PracticeFile
from miner.records.read.toml_file import read_toml
from miner.render.caseload_page import caseload_page
from miner.words.practice import caseload_parts
from miner.words.said import rules_at_door

UNITS = ("day", "meal")


def show(request: PageRequest) -> Response:
    """Show the last overview of this run of the page, by day or by meal, or the way to one."""
    by = unit_of(request)
    found = _found(request)
    parts = []
    if found is not None:
        parts = caseload_parts(found, rules_at_door(rules_of(request.state.practice)), detail=False)
    clients = clients_of(request.state.practice)
    return page(
        request,
        "caseload.html",
        parts=parts,
        count=len(clients),
        by=by,
        ways=[(unit, to(unit), unit == by) for unit in UNITS],
        ids={name: address("clients", name) for name in clients},
    )


def look(request: PageRequest) -> Response:
    """Look at every client."""
    state, by = request.state, unit_of(request)

    def work(progress: Progress) -> str:
        state.caseloads[by] = steps.pool(state.practice, unit=by, progress=progress)
        return to(by)

    return request.later(f"caseload {by}", message("page.job_caseload", unit=by), to(by), work)


def unit_of(request: PageRequest) -> str:
    """Return the unit asked for; else the practice's own."""
    named = request.text("by")
    if named in UNITS:
        return named
    return read_toml(request.state.practice / "practice.toml", PracticeFile).rank_unit or UNITS[0]


def to(unit: str) -> str:
    """Return the address of the overview by one unit."""
    return f"{address('caseload')}?by={unit}"


def _found(request: PageRequest) -> Caseload | None:
    return request.state.caseloads.get(unit_of(request))


def as_page(request: PageRequest) -> Response:
    """Show the overview as a page of its own, with its figures."""
    found = _found(request)
    if found is None:
        return RedirectResponse(to(unit_of(request)), status_code=303)
    with DRAWING:
        text = caseload_page(found, rules_of(request.state.practice))
    return HTMLResponse(text, headers={"Content-Security-Policy": own_policy(text)})


def help_(request: PageRequest) -> Response:
    """Show help in plain words."""
    return page(request, "help.html")
