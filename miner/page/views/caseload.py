"""The caseload: a row a client, and what the clients who agreed share."""

from __future__ import annotations

from datetime import date

from starlette.responses import RedirectResponse, Response

from miner import steps
from miner.core.messages import message
from miner.core.results.caseload import Caseload
from miner.core.unit import Unit
from miner.page.jobs import Progress
from miner.page.places import address, clients_of
from miner.page.render import DRAWING, own_page, page
from miner.page.request import PageRequest
from miner.page.views.practice import NextOfClient, next_of
from miner.render.pages import caseload_page
from miner.steps.settings import practice_file
from miner.words.practice import MOST_ROWS, caseload_parts
from miner.words.said import rules_at_door


def show(request: PageRequest) -> Response:
    """Show the last overview of this run of the page, by day or by meal, or the way to one."""
    by, practice = unit_of(request), request.state.practice
    found, parts = request.state.caseloads.get(by), []
    if found is not None:
        rules = rules_at_door(request.state.rules)
        parts = caseload_parts(found, rules, detail=False)
    clients = clients_of(practice)
    return page(
        request,
        "caseload.html",
        parts=parts,
        count=len(clients),
        by=by,
        ways=[(unit, to(unit), unit == by) for unit in Unit],
        ids={name: address("clients", name) for name in clients},
        steps=next_steps(request, found) if found else [],
    )


def next_steps(request: PageRequest, found: Caseload) -> list[tuple[str, str, NextOfClient]]:
    """Return the folder and the code of each client of a caseload, with what is to be done next."""
    held, today = request.state.clients, date.today()
    return [
        (row.folder, row.client, next_of(row.state, today, ranked=row.folder in held.rankings))
        for row in found.clients[:MOST_ROWS]
        if row.state is not None
    ]


def look(request: PageRequest) -> Response:
    """Look at every client."""
    state, by = request.state, unit_of(request)

    def work(progress: Progress) -> None:
        state.caseloads[by] = steps.pool(state.practice, unit=by, progress=progress)

    said = message("page.job_caseload", unit=by)
    return request.later(f"caseload {by}", said, work, to(by))


def unit_of(request: PageRequest) -> str:
    """Return the unit asked for; else the practice's own."""
    named = request.text("by")
    if named in list(Unit):
        return named
    return practice_file(request.state.practice).rank_unit or Unit.DAY


def to(unit: str) -> str:
    """Return the address of the overview by one unit."""
    return f"{address('caseload')}?by={unit}"


def as_page(request: PageRequest) -> Response:
    """Show the overview as a page of its own, with its figures."""
    by = unit_of(request)
    found = request.state.caseloads.get(by)
    if found is None:
        return RedirectResponse(to(by), status_code=303)
    with DRAWING:
        text = caseload_page(found, request.state.rules)
    return own_page(text)
