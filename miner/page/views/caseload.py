"""The caseload: a row a client, and what the clients who agreed share."""

from __future__ import annotations

from starlette.responses import HTMLResponse, RedirectResponse, Response

from miner import steps
from miner.core.results.caseload import Caseload
from miner.page.asked import Asked, address
from miner.page.jobs import Progress
from miner.page.places import clients_of
from miner.page.policy import own_policy
from miner.page.render import DRAWING, page
from miner.page.rule_change import rules_of
from miner.records.settings import PracticeFile
from miner.records.toml_file import read_toml
from miner.render.papers.caseload import caseload_page
from miner.words.practice import caseload_parts

UNITS = ("day", "meal")


def show(asked: Asked) -> Response:
    """Show the last overview of this run of the page, by day or by meal, or the way to one."""
    by = unit_of(asked)
    found = _found(asked)
    parts = []
    if found is not None:
        parts = caseload_parts(found, rules_of(asked.desk.practice), detail=False)
    clients = clients_of(asked.desk.practice)
    return page(
        asked, "caseload.html", parts=parts, count=len(clients), by=by,
        ways=[(unit, to(unit), unit == by) for unit in UNITS],
        ids={name: address("clients", name) for name in clients},
    )  # fmt: skip


def look(asked: Asked) -> Response:
    """Look at every client."""
    desk, by = asked.desk, unit_of(asked)

    def work(progress: Progress) -> str:
        desk.found[(".", f"caseload {by}")] = steps.pool(desk.practice, unit=by, progress=progress)
        return to(by)

    return asked.later(f"caseload {by}", f"Looking at every client, by {by}", to(by), work)


def unit_of(asked: Asked) -> str:
    """Return the unit asked for; else the practice's own."""
    named = asked.text("by")
    if named in UNITS:
        return named
    return read_toml(asked.desk.practice / "practice.toml", PracticeFile).rank_unit or UNITS[0]


def to(unit: str) -> str:
    """Return the address of the overview by one unit."""
    return f"{address('caseload')}?by={unit}"


def _found(asked: Asked) -> Caseload | None:
    found = asked.desk.found.get((".", f"caseload {unit_of(asked)}"))
    return found if isinstance(found, Caseload) else None


def as_page(asked: Asked) -> Response:
    """Show the overview as a page of its own, with its figures."""
    found = _found(asked)
    if found is None:
        return RedirectResponse(to(unit_of(asked)), status_code=303)
    with DRAWING:
        text = caseload_page(found, rules_of(asked.desk.practice))
    return HTMLResponse(text, headers={"Content-Security-Policy": own_policy(text)})


def help_(asked: Asked) -> Response:
    """Show help in plain words."""
    return page(asked, "help.html")
