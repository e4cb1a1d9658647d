"""The caseload: a row a client, and what the clients who agreed share."""

from __future__ import annotations

from starlette.responses import HTMLResponse, RedirectResponse, Response

from miner import api
from miner.brief.caseload import caseload_page
from miner.brief.text.caseload import caseload_parts
from miner.page.asked import Asked, address
from miner.page.jobs import Progress
from miner.page.places import clients_of
from miner.page.policy import own_policy
from miner.page.render import DRAWING, page
from miner.page.rule_change import rules_of
from miner.results.caseload import Caseload

FOUND = (".", "caseload")


def show(asked: Asked) -> Response:
    """Show the last overview of this run of the page, or the way to one."""
    found = asked.desk.found.get(FOUND)
    parts = []
    if isinstance(found, Caseload):
        parts = caseload_parts(found, rules_of(asked.desk.practice), detail=False)
    clients = clients_of(asked.desk.practice)
    return page(
        asked, "caseload.html", parts=parts, count=len(clients),
        ids={name: address("clients", name) for name in clients},
    )  # fmt: skip


def look(asked: Asked) -> Response:
    """Look at every client."""
    desk, to = asked.desk, address("caseload")

    def work(progress: Progress) -> str:
        desk.found[FOUND] = api.pool(desk.practice, progress=progress)
        return to

    return asked.later("caseload", "Looking at every client", to, work)


def as_page(asked: Asked) -> Response:
    """Show the overview as a page of its own, with its figures."""
    found = asked.desk.found.get(FOUND)
    if not isinstance(found, Caseload):
        return RedirectResponse(address("caseload"), status_code=303)
    with DRAWING:
        text = caseload_page(found, rules_of(asked.desk.practice))
    return HTMLResponse(text, headers={"Content-Security-Policy": own_policy(text)})


def help_(asked: Asked) -> Response:
    """Show help in plain words."""
    return page(asked, "help.html")
