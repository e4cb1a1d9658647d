"""One client: what state the records are in, and what the next step is."""

from __future__ import annotations

from datetime import date

from starlette.responses import Response

from miner import steps
from miner.page.render import page
from miner.page.request import PageRequest
from miner.page.uploads import waiting
from miner.page.views.practice import state_of
from miner.steps import followup_state


def client(request: PageRequest) -> Response:
    """Show one client."""
    folder = request.folder
    entry, fault = request.read_or_fault()
    report = entry.report() if entry is not None else None
    return page(
        request,
        "client.html",
        fault=fault,
        next=state_of(request, folder.name, date.today()),
        report=report,
        questions=len(steps.fixed_questions(folder)),
        waiting=len(waiting(folder)),
        open=sum(item.closed_at is None for item in followup_state(folder).kept),
        ranked=entry is not None and request.state.clients.last_ranking(entry) is not None,
        enough=report is not None
        and entry is not None
        and report.usable_days >= entry.rules.guardrails.fewest_days_to_rank,
        not_asked=list(report.intake_not_asked) if report else None,
    )
