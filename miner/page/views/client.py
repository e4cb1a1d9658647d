"""One client: what state the records are in, and what the next step is."""

from __future__ import annotations

from pathlib import Path

from starlette.responses import Response

from miner import ledger, steps
from miner.core.errors import MinerError
from miner.core.results import CautionText
from miner.ledger import replay
from miner.page.asked import Asked
from miner.page.places import OWN_FILES, client_folder
from miner.page.render import page
from miner.page.shelf import Entry
from miner.page.uploads import waiting
from miner.page.words import for_page
from miner.words.cautions import Cautions


def client(asked: Asked) -> Response:
    """Show one client."""
    folder = asked.folder
    entry, fault = read_or_fault(asked)
    asked_about = steps.fixed_questions(folder)
    now_open = [item for item in replay(ledger.read(folder)).kept if item.closed_at is None]
    report = entry.report() if entry is not None else None
    return page(
        asked, "client.html", client=name_of(entry, asked), fault=fault, report=report,
        first=first(report.cautions) if report else [], questions=len(asked_about),
        waiting=len(waiting(folder)), open=len(now_open),
        ranked=entry is not None and asked.desk.shelf.last_ranking(entry) is not None,
        enough=report is not None and entry is not None
        and report.usable_days >= entry.rules.guardrails.fewest_days_to_rank,
        not_asked=list(report.intake_not_asked) if report else None,
    )  # fmt: skip


def read_or_fault(asked: Asked) -> tuple[Entry | None, str]:
    """Return the client as read, or why it cannot be."""
    try:
        return asked.entry(), ""
    except MinerError as error:
        return None, why_not(client_folder(asked.desk.practice, asked.code), error.message)


def why_not(folder: Path, told: str) -> str:
    """Return why a client cannot be read: there is nothing to read yet, or what was told."""
    own = {path.name for path in folder.iterdir() if path.name[0] != "."}
    if own <= {*OWN_FILES}:
        return "There are no records yet. Drop the files on the page Records."
    return for_page(told)


def name_of(entry: Entry | None, asked: Asked) -> str:
    """Return what the client is called."""
    return asked.code if entry is None else entry.client.settings.code


def first(said: tuple[CautionText, ...]) -> list[object]:
    """Return the cautions that come before any pattern."""
    return [part for part in Cautions(said).first() if part is not None]


def before(entry: Entry) -> list[object]:
    """Return the cautions that come before any pattern of a client's records."""
    return first(entry.report().cautions)
