"""One client: what state the records are in, and what the next step is."""

from __future__ import annotations

from pathlib import Path

from starlette.responses import Response

from miner import ledger, steps
from miner.core.messages import MinerError, message
from miner.core.results import CautionText
from miner.ledger import replay
from miner.page.client_cache import ClientEntry
from miner.page.places import OWN_FILES, client_folder, one_line
from miner.page.render import page
from miner.page.request import PageRequest
from miner.page.uploads import waiting
from miner.words.cautions import Cautions


def client(request: PageRequest) -> Response:
    """Show one client."""
    folder = request.folder
    entry, fault = read_or_fault(request)
    asked_about = steps.fixed_questions(folder)
    now_open = [item for item in replay(ledger.read(folder)).kept if item.closed_at is None]
    report = entry.report() if entry is not None else None
    return page(
        request,
        "client.html",
        client=name_of(entry, request),
        fault=fault,
        report=report,
        first=first(report.cautions) if report else [],
        questions=len(asked_about),
        waiting=len(waiting(folder)),
        open=len(now_open),
        ranked=entry is not None and request.state.clients.last_ranking(entry) is not None,
        enough=report is not None
        and entry is not None
        and report.usable_days >= entry.rules.guardrails.fewest_days_to_rank,
        not_asked=list(report.intake_not_asked) if report else None,
    )


def read_or_fault(request: PageRequest) -> tuple[ClientEntry | None, str]:
    """Return the client as read, or why it cannot be."""
    try:
        return request.entry(), ""
    except MinerError as error:
        return None, why_not(client_folder(request.state.practice, request.code), one_line(error))


def why_not(folder: Path, told: str) -> str:
    """Return why a client cannot be read: there is nothing to read yet, or what was told."""
    own = {path.name for path in folder.iterdir() if path.name[0] != "."}
    if own <= {*OWN_FILES}:
        return str(message("page.no_records"))
    return told


def name_of(entry: ClientEntry | None, request: PageRequest) -> str:
    """Return what the client is called."""
    return request.code if entry is None else entry.client.settings.code


def first(said: tuple[CautionText, ...]) -> list[object]:
    """Return the cautions that come before any pattern."""
    return [part for part in Cautions(said).first() if part is not None]


def before(entry: ClientEntry) -> list[object]:
    """Return the cautions that come before any pattern of a client's records."""
    return first(entry.report().cautions)
